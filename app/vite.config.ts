import { defineConfig } from "vite";

// One script, one style sheet, no split chunks: assemble.mjs puts everything into one file.
export default defineConfig({
  base: "./",
  build: {
    target: "es2022",
    outDir: "dist/parts",
    assetsInlineLimit: 1_000_000,
    modulePreload: false,
    cssCodeSplit: false,
    reportCompressedSize: false,
  },
  // A worker from a Blob must be a classic script when the page comes from a file.
  worker: { format: "iife" },
});
