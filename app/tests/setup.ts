// Makes the published page of the demo, with few draws, in dist/demo.html.
import { execFileSync } from "node:child_process";
import { mkdirSync } from "node:fs";
import { resolve } from "node:path";

export default function setup(): void {
  if (process.env.PAGE) return;
  mkdirSync("dist", { recursive: true });
  execFileSync("cargo", ["run", "--quiet", "--package", "overwinter-server", "--example", "publish_demo", "--", resolve("dist/demo.html"), "64"], { stdio: "inherit", cwd: ".." });
}
