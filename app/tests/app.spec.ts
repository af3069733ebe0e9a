// The app that the tool serves on loopback: the same views, questions answered by the server, writes that never overwrite.
import { spawn, type ChildProcess } from "node:child_process";
import { expect, test } from "@playwright/test";
import { row, settled } from "./page";

let server: ChildProcess;
let address = "";

test.beforeEach(async () => {
  server = spawn("cargo", ["run", "--quiet", "--package", "overwinter-server", "--example", "serve_demo"], { cwd: "..", stdio: ["ignore", "pipe", "inherit"], detached: true });
  address = await new Promise<string>((done, fail) => {
    server.stdout?.on("data", (chunk: Buffer) => done(chunk.toString().trim()));
    server.on("exit", () => fail(new Error("the server ended")));
  });
});

test.afterEach(() => {
  // The whole group: cargo and the program it started.
  if (server.pid) process.kill(-server.pid);
});

test("the same views, computed by the server", async ({ page }) => {
  const errors: string[] = [];
  page.on("console", (m) => { if (m.type() === "error") errors.push(m.text()); });
  const foreign: string[] = [];
  page.on("request", (r) => { if (!r.url().startsWith(address)) foreign.push(r.url()); });
  await page.goto(address);
  await expect(row(page, "BOWLINE")).toContainText("fits");
  await page.getByRole("button", { name: "Board", exact: true }).click();
  await expect(page.getByRole("heading", { name: "Where the sleep current goes" })).toBeVisible();
  expect(foreign.filter((url) => !url.startsWith("data:"))).toEqual([]);
  expect(errors).toEqual([]);
});

test("a project is saved as a new document and never over another", async ({ page }) => {
  await page.goto(address);
  await expect(row(page, "BOWLINE")).toContainText("fits");
  await page.getByLabel("lasts at least").fill("300 d");
  await page.getByLabel("name", { exact: true }).fill("my bridge");
  await page.getByRole("button", { name: "Save as a new project" }).click();
  await expect(page.locator(".project")).toContainText("Saved in projects/my-bridge.toml");
  await page.getByLabel("start from").selectOption("footbridges");
  await page.getByLabel("lasts at least").fill("200 d");
  await page.getByLabel("name", { exact: true }).fill("my bridge");
  await page.getByRole("button", { name: "Save as a new project" }).click();
  await expect(page.locator(".project")).toContainText("already there and was left as it is");
  await page.reload();
  await expect(page.getByLabel("start from").locator("option", { hasText: "my bridge" })).toHaveCount(1);
});

test("a server that is gone is told and nothing typed is lost", async ({ page }) => {
  await page.goto(address);
  await settled(page);
  if (server.pid) process.kill(-server.pid);
  server = { pid: undefined } as ChildProcess;
  await page.getByLabel("lasts at least").fill("2 yr");
  await expect(page.locator(".status")).toContainText("The tool does not answer");
  await expect(page.getByLabel("lasts at least")).toHaveValue("2 yr");
  await expect(row(page, "BOWLINE")).toBeVisible();
});

test("a folder changed meanwhile is told; what was typed stays", async ({ page }) => {
  await page.goto(address);
  await settled(page);
  // Another tab, or an editor: a new cell appears in the folder.
  const status = await page.evaluate(async () => {
    const facts = JSON.parse(document.getElementById("facts")?.textContent ?? "{}") as { token: string };
    const text = '[cell]\nname = "another cell"\nchemistry = "lithium-ion"\ncapacity = "900 mAh"\n';
    const body = JSON.stringify({ path: "cells/another.toml", text, was: null });
    return (await fetch("api/save", { method: "POST", headers: { "content-type": "application/json", "x-overwinter-token": facts.token }, body })).status;
  });
  expect(status).toBe(200);
  await page.getByLabel("lasts at least").fill("301 d");
  await expect(page.locator(".banner")).toContainText("changed on disk");
  await expect(page.getByLabel("lasts at least")).toHaveValue("301 d");
});
