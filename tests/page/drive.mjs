// What tests and pictures of the page share: haulm page started on a copy of the demo or on nothing, and a browser that keeps to itself.
import { spawn } from "node:child_process";
import { cpSync, mkdtempSync, rmSync, writeFileSync, readFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, dirname } from "node:path";
import { fileURLToPath } from "node:url";
import { gunzipSync } from "node:zlib";
import { chromium } from "playwright-core";

export const root = join(dirname(fileURLToPath(import.meta.url)), "../..");
export const haulm = process.env.HAULM ?? join(root, "target/debug/haulm");

const made = [];
process.on("exit", () => made.forEach((folder) => rmSync(folder, { recursive: true, force: true })));

/** A folder that goes away at the end. */
export function scratch() {
  const folder = mkdtempSync(join(tmpdir(), "haulm-page-test-"));
  made.push(folder);
  return folder;
}

/** A copy of the demo field with changes to the text of its job. */
export function demo(change = (text) => text) {
  const folder = scratch();
  cpSync(join(root, "demo/field"), join(folder, "field"), { recursive: true });
  writeFileSync(join(folder, "job.toml"), change(readFileSync(join(root, "demo/job.toml"), "utf8")));
  return folder;
}

/** Starts haulm page; `address` holds the token. */
export function serve(args, options = {}) {
  return new Promise((resolve, reject) => {
    const child = spawn(haulm, ["page", ...args], { cwd: options.cwd ?? scratch(), stdio: ["ignore", "pipe", "pipe"] });
    let out = "", err = "";
    child.stderr.on("data", (data) => { err += data; });
    child.stdout.on("data", (data) => {
      out += data;
      const address = /(https?:\/\/\S+\/#\S+)/.exec(out)?.[1];
      if (address && !child.told) { child.told = true; resolve({ address, child, out: () => out, err: () => err, end: () => new Promise((done) => { child.once("exit", done); child.kill("SIGTERM"); }) }); }
    });
    child.once("exit", (code) => reject(new Error(`haulm page ended with ${code}: ${err}`)));
  });
}

export const browser = () => chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", headless: true,
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-default-apps", "--disable-extensions", "--disable-dev-shm-usage"],
});

/** Opens the page in a context of its own. `dist`: files of the page from a folder instead of those in the program. */
export async function open(chromium, served, { width = 1280, height = Math.round(width < 600 ? width * 2 : width * 0.625), colorScheme = "light", dist = process.env.DIST ?? null, zoom = 1, ...more } = {}) {
  const context = await chromium.newContext({ viewport: { width: Math.round(width / zoom), height: Math.round(height / zoom) }, deviceScaleFactor: zoom, colorScheme, reducedMotion: "reduce", acceptDownloads: true, ...more });
  const page = await context.newPage();
  page.faults = [];
  page.requests = [];
  page.on("pageerror", (error) => page.faults.push(String(error)));
  page.on("console", (message) => { if (message.type() === "error" && !/status of (404|422)/.test(message.text())) page.faults.push(message.text()); });
  page.on("request", (request) => page.requests.push(request.url()));
  if (dist) for (const [file, type] of [["page.js", "text/javascript"], ["page.css", "text/css"]]) await page.route(`**/${file}`, (route) => route.fulfill({ body: gunzipSync(readFileSync(join(dist, `${file}.gz`))), contentType: type }));
  await page.goto(served.address);
  return { page, context };
}

/** Waits until the answers of a decided job are there, with the uncertainty drawn. */
export async function decided(page) {
  await page.waitForFunction(() => /\d/.test(document.querySelector("#question-3 .figure")?.textContent ?? "") && !/drawn …/.test(document.querySelector("#question-4 .figure")?.textContent ?? "drawn …"), null, { timeout: 60_000 });
}
export const question = async (page, number) => { if ((await page.getAttribute(`#question-${number}`, "aria-expanded")) !== "true") await page.click(`#question-${number}`); };

/** States that are looked at and tested for accessibility: how the page is served, and how the state is reached. */
export const states = {
  field: { serve: () => serve([join(demo(), "job.toml"), "--write"]), reach: async (page) => { await decided(page); await page.waitForSelector("#slide-yield"); } },
  look: { serve: () => serve([join(demo(), "job.toml"), "--write"]), reach: async (page) => { await decided(page); await question(page, 1); await page.waitForFunction(() => !document.querySelector("#layer-photo")?.disabled, null, { timeout: 20_000 }); await page.check("#layer-photo", { force: true }); } },
  nitrogen: { serve: () => serve([join(demo(), "job.toml"), "--write"]), reach: async (page) => { await decided(page); await question(page, 2); await page.check("#placebo-on"); await page.check("#layer-index", { force: true }); } },
  sure: { serve: () => serve([join(demo(), "job.toml"), "--write"]), reach: async (page) => { await decided(page); await question(page, 4); await page.check("#layer-uncertainty", { force: true }); await page.locator(".findings summary").first().click(); } },
  machine: { serve: () => serve([join(demo(), "job.toml"), "--write"]), reach: async (page) => { await decided(page); await question(page, 5); } },
  cell: { serve: () => serve([join(demo(), "job.toml")]), reach: async (page) => { await decided(page); await page.check("#layer-rate", { force: true }); await page.locator(".map").focus(); await page.keyboard.press("Enter"); await page.waitForSelector("#cell-card"); } },
  compare: { serve: () => serve([join(demo(), "job.toml"), "--write"]), reach: async (page) => { await decided(page); await page.click("#keep"); const box = page.locator('[id="key-response.maximum_yield"]'); const now = await box.inputValue(); await box.fill(now.startsWith("3.6") ? "4.0 t/ha" : "3.6 t/ha"); await box.press("Enter"); await page.waitForFunction(() => /[1-9]/.test(document.querySelector("#question-3 .difference")?.textContent ?? "")); await decided(page); await page.check("#layer-difference", { force: true }); } },
  draw: { serve: () => serve([join(demo(), "job.toml"), "--write"]), reach: async (page) => { await decided(page); await question(page, 2); await page.click("#tool-strips"); await page.fill("#draw-length", "150"); await page.keyboard.press("Enter"); } },
  set: { serve: () => serve([join(demo(), "job.toml"), "--write"]), reach: async (page) => { await decided(page); await question(page, 3); await page.click("#tool-set"); await page.selectOption("#draw-zone", { index: 2 }); await page.fill("#draw-amount", "20 kg N/ha"); } },
  lists: { serve: () => serve([join(demo(), "job.toml"), "--write"]), reach: async (page) => { await decided(page); await question(page, 1); await page.locator("summary", { hasText: "[[field.exclude]]" }).click(); await page.click('[id="add-field.exclude"]'); } },
  corners: { serve: () => serve([join(demo(), "job.toml"), "--write"]), reach: async (page) => { await decided(page); await question(page, 1); await page.click("#corners-exclude-0"); } },
  empty: { serve: () => serve([]), reach: async (page) => { await page.waitForSelector(".drop"); } },
  unfinished: { serve: () => serve([join(demo((text) => text.replace(/maximum_yield.*\n/, "").replace(/strips = "field.*\n/, "").replace(/\nmaximum = "80.*\n/, "\n")), "job.toml"), "--write"]), reach: async (page) => { await page.waitForSelector(".answer.open"); await page.waitForTimeout(1500); } },
  stopped: { serve: () => serve([join(demo((text) => text.replace("date = 2026-04-18", "date = 2026-06-18")), "job.toml"), "--write"]), reach: async (page) => { await decided(page); await question(page, 4); } },
  refused: { serve: () => serve([join(demo((text) => text.replace("field/mosaic.tif", "field/absent.tif")), "job.toml"), "--write"]), reach: async (page) => { await page.waitForSelector(".refusal"); } },
  folder: { serve: () => { const folder = scratch(); for (const [k, change] of [(t) => t, (t) => t.replace("= \"Long Ley\"", "= \"Far Ley\"").replace("2026-04-18", "2026-06-18"), (t) => t.replace("= \"Long Ley\"", "= \"Mill Close\"").replace(/maximum_yield.*\n/, "")].entries()) { cpSync(demo(change), join(folder, `field_${k + 1}`), { recursive: true }); } return serve([folder]); }, reach: async (page) => { await page.waitForFunction(() => /^3 fields$/.test(document.querySelector(".folder [role=status]")?.textContent ?? ""), null, { timeout: 60_000 }); } },
};
