// Report and card in a browser: the demo, the same in US units, a stopped map, one with many zones and one without a response; on phones and wide, in light and dark. Ends with "N passed, N failed".
import { execFileSync, spawnSync } from "node:child_process";
import { existsSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { browser, demo, haulm } from "./drive.mjs";

let passed = 0, failed = 0;
const chromium = await browser();
async function check(name, work) {
  try { await work(); passed += 1; console.log(`ok      ${name}`); }
  catch (error) { failed += 1; console.log(`FAILED  ${name}\n        ${String(error?.message ?? error).split("\n").slice(0, 8).join("\n        ")}`); }
}
function holds(value, what) { if (!value) throw new Error(what); }

// A phone scrolls past no more than this. (px)
const LONGEST = 12_000;
const US = [["\"80 kg N/ha\"", "\"80 lb N/ac\""], ["\"10 kg N/ha\"", "\"10 lb N/ac\""], ["\"30 kg N/ha\"", "\"30 lb N/ac\""], ["\"24 m\"", "\"80 ft\""], ["\"1152 m2\"", "\"0.3 ac\""], ["\"25 L/ha\"", "\"3 gal/ac\""], ["\"250 L/ha\"", "\"25 gal/ac\""], ["\"L/ha\"", "\"gal/ac\""]];
const jobs = {
  demo: [],
  "US units": US,
  stopped: [["date = 2026-04-18", "date = 2026-05-20"]],
  "many zones": [["minimum_area = \"1152 m2\"", "minimum_area = \"100 m2\""], ["\"10 kg N/ha\"", "\"5 kg N/ha\""]],
  "no response": [["strips = \"field/strips.geojson\"", "readings = [{ strip = 0.61, beside = 0.61 }, { strip = 0.612, beside = 0.61 }, { strip = 0.609, beside = 0.61 }, { strip = 0.61, beside = 0.611 }, { strip = 0.61, beside = 0.61 }]\n#"], ["inset  = \"3 m\"", "#"], ["gap    = \"5 m\"", "#"]],
};
const changed = (pairs) => (text) => pairs.reduce((job, [from, to]) => { holds(job.includes(from), `${from} does not stand in the demo's job`); return job.replaceAll(from, to); }, text);

/** What of a document cannot be read: things wider than the screen, numbers broken over lines, words in letters below 11 px, ink too near to its paper. */
const looked = () => {
  const faults = [];
  const wide = document.documentElement.scrollWidth - document.documentElement.clientWidth;
  if (wide > 0) faults.push(`${wide} px wider than the screen`);
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const parent = node.parentElement;
    if (!parent.checkVisibility() || parent.closest("svg, script, style, td.long, code")) continue;
    if (node.data.trim() && parseFloat(getComputedStyle(parent).fontSize) < 11) faults.push(`small letters: ${node.data.trim().slice(0, 40)}`);
    for (const found of node.data.matchAll(/\d[\d.]*\d/g)) {
      const range = document.createRange();
      range.setStart(node, found.index);
      range.setEnd(node, found.index + found[0].length);
      if (range.getClientRects().length > 1) faults.push(`${found[0]} is broken over two lines`);
    }
  }
  return { faults, height: document.documentElement.scrollHeight };
};

for (const [name, changes] of Object.entries(jobs)) {
  const folder = demo(changed(changes));
  const said = spawnSync(haulm, ["map", join(folder, "job.toml"), "--quiet"], { stdio: "pipe" });
  holds([0, 1].includes(said.status), String(said.stderr));
  for (const file of ["office/report.html", "machine/CARD.html"]) {
    const path = join(folder, "out", file);
    if (name === "stopped" && file.startsWith("machine")) {
      await check(`${name}: no card is left`, async () => holds(!existsSync(path), "a card of a stopped map"));
      continue;
    }
    for (const width of [320, 360, 1280]) for (const colorScheme of width === 360 ? ["light", "dark"] : ["light"]) {
      await check(`${name}: ${file} at ${width} px, ${colorScheme}`, async () => {
        const page = await chromium.newPage({ viewport: { width, height: 800 }, colorScheme });
        const asked = [];
        page.on("request", (request) => asked.push(request.url()));
        await page.goto(pathToFileURL(path).href);
        const { faults, height } = await page.evaluate(looked);
        holds(faults.length === 0, faults.slice(0, 6).join("; "));
        if (width === 360) holds(height < LONGEST, `${height} px high, ${LONGEST} at most`);
        holds(asked.length === 1, `it asks for ${asked.slice(1).join(", ")}`);
        await page.close();
      });
    }
  }
  await check(`${name}: the report on paper has ${name === "stopped" ? "four" : "five"} pages`, async () => {
    const told = execFileSync("pdfinfo", [join(folder, "out/office/report.pdf")]).toString();
    const [pages, size] = [/Pages:\s+(\d+)/.exec(told)[1], /Page size:\s+([\d.]+)/.exec(told)[1]];
    holds(pages === (name === "stopped" ? "4" : "5"), `${pages} pages`);
    holds(Math.round(size) === (name === "US units" ? 612 : 595), `${size} pt wide`);
  });
  if (name === "no response") await check(`${name}: it is said`, async () => holds(readFileSync(join(folder, "out/office/report.html"), "utf8").includes("No nitrogen now"), "the report asks for nitrogen"));
}
await chromium.close();
console.log(`${passed} passed, ${failed} failed`);
process.exitCode = failed ? 1 : 0;
