import { defineConfig } from "@playwright/test";

// Debian's Chromium; CHROMIUM names another. The page under test is made once, before all tests.
export default defineConfig({
  testDir: "tests",
  outputDir: "test-results",
  globalSetup: "./tests/setup.ts",
  workers: 1,
  // Not a measure of speed: room for a slow machine on which others build.
  timeout: 240_000,
  expect: { timeout: 30_000 },
  reporter: [["list"]],
  use: {
    browserName: "chromium",
    viewport: { width: 1280, height: 860 },
    launchOptions: { executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: ["--no-sandbox"] },
  },
});
