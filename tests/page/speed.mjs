// How fast the page answers, in the browser, on the demo field cut into many cells: `node speed.mjs [CELL_METRES …]`. For measuring, not for passing: nothing is asserted, and a
// figure holds for the machine and the build that HAULM names. A setting is changed, and the time runs from the input to the map on the screen.
import { join } from "node:path";
import { browser, demo, open, serve } from "./drive.mjs";

const ROUNDS = Number(process.env.ROUNDS ?? 15);
const median = (list) => [...list].sort((a, b) => a - b)[Math.floor(list.length / 2)];
const chromium = await browser();

/** The demo field in square cells of this side: sections of the boom one way, the cells' length the other. */
const finely = (side) => (text) => text.replace(/^cell_length .*$/m, `sections = ${Math.round(24 / side)}\ncell_length = "${side} m"`);

/** From the address to the first map, on the demo as it is. */
{
  const served = await serve([join(demo(), "job.toml")]);
  const times = [];
  for (let round = 0; round < 3; round++) {
    const { page, context } = await open(chromium, served);
    await page.waitForFunction(() => performance.getEntriesByName("haulm-drawn").length > 0, null, { timeout: 60_000 });
    times.push(await page.evaluate(() => performance.getEntriesByName("haulm-drawn")[0].startTime));
    await context.close();
    // Only the first opening reads the field: each round begins a server of its own after it.
  }
  await served.end();
  console.log(`first map of the demo: ${times[0].toFixed(0)} ms after the address was opened; again, already read: ${times.slice(1).map((time) => time.toFixed(0)).join(", ")} ms`);
}

for (const side of process.argv.slice(2).length ? process.argv.slice(2).map(Number) : [1.5]) {
  const served = await serve([join(demo(finely(side)), "job.toml"), "--write"]);
  const { page, context } = await open(chromium, served);
  await page.waitForSelector('[id="key-response.maximum_yield"]', { timeout: 300_000 });
  const settled = () => page.waitForFunction(() => fetch("/api/v1/jobs/0").then((answer) => answer.json()).then((view) => !view.drawing), null, { timeout: 300_000, polling: 300 });
  await settled();
  const cells = await page.evaluate(() => fetch("/api/v1/jobs/0/ground").then((answer) => answer.json()).then((ground) => ground.cells));
  for (const layer of ["zones", "rate"]) {
    await page.check(`#layer-${layer}`, { force: true });
    const times = [], parts = [], firsts = [];
    for (let round = 0; round < ROUNDS; round++) {
      await settled();
      await page.waitForTimeout(400);
      const found = await page.evaluate((value) => new Promise((done) => {
        const before = performance.getEntriesByName("haulm-drawn")[0]?.detail ?? 0;
        performance.clearResourceTimings();
        performance.clearMarks("haulm-early");
        const box = document.getElementById("key-response.maximum_yield");
        const from = performance.now();
        box.value = value;
        box.dispatchEvent(new Event("change", { bubbles: true }));
        const look = () => { const mark = performance.getEntriesByName("haulm-drawn")[0]; if (mark && mark.detail > before) { const asked = performance.getEntriesByType("resource").map((each) => [each.name.split("/").slice(-1)[0].split("?")[0], Math.round(each.startTime - from), Math.round(each.responseEnd - from), each.encodedBodySize]); const early = performance.getEntriesByName("haulm-early")[0]; done([mark.startTime - from, asked, early ? early.startTime - from : null]); } else setTimeout(look, 2); };
        look();
      }), `${(3.5 + (round % 5) / 10).toFixed(1)} t/ha`);
      times.push(found[0]);
      parts.push(found[1]);
      if (found[2] !== null) firsts.push(found[2]);
    }
    console.log(`${cells} cells, ${layer}: changed setting to drawn map, median of ${ROUNDS}: ${median(times).toFixed(0)} ms (${Math.min(...times).toFixed(0)} to ${Math.max(...times).toFixed(0)})`);
    if (firsts.length) console.log(`        the cells in their new colours before that, in ${firsts.length} of ${ROUNDS}: ${median(firsts).toFixed(0)} ms (${Math.min(...firsts).toFixed(0)} to ${Math.max(...firsts).toFixed(0)})`);
    console.log(`        requests of the last: ${parts.at(-1).map(([name, start, end, bytes]) => `${name} ${start} to ${end} ms, ${(bytes / 1024).toFixed(0)} KiB`).join("; ")}`);
  }
  const box = await page.locator(".map").boundingBox();
  const hover = await page.evaluate(async ([x, y, w, h]) => {
    const times = [];
    const target = document.querySelector(".map canvas") ?? document.querySelector(".map");
    for (let k = 0; k < 60; k++) {
      const place = document.querySelector(".place");
      const before = place.textContent;
      const from = performance.now();
      target.dispatchEvent(new PointerEvent("pointermove", { bubbles: true, clientX: x + w * (0.3 + (k % 20) / 50), clientY: y + h * (0.35 + (k % 7) / 25), pointerType: "mouse" }));
      await new Promise((ready) => { const look = () => (place.textContent !== before || performance.now() - from > 500 ? ready() : setTimeout(look, 0)); look(); });
      times.push(performance.now() - from);
    }
    return times;
  }, [box.x, box.y, box.width, box.height]);
  console.log(`${cells} cells: under the pointer, median of ${hover.length}: ${median(hover).toFixed(1)} ms, worst ${Math.max(...hover).toFixed(1)} ms`);
  const chosen = [];
  for (let k = 0; k < 10; k++) { const from = Date.now(); await page.evaluate((at) => fetch(`/api/v1/jobs/0/cells/${at}`).then((answer) => answer.json()), Math.floor((cells / 11) * (k + 1))); chosen.push(Date.now() - from); }
  console.log(`${cells} cells: one cell's whole computation, median of 10: ${median(chosen)} ms`);
  await context.close();
  await served.end();
}
await chromium.close();
