// The page in a browser: the whole job on the demo and from nothing, by pointer and by keyboard, in light and dark, small and enlarged. Ends with "N passed, N failed".
import { readFileSync, existsSync, cpSync, readdirSync, writeFileSync } from "node:fs";
import { execFileSync } from "node:child_process";
import { join } from "node:path";
import { createServer } from "node:http";
import axe from "axe-core";
import { browser, decided, demo, haulm, open, question, root, scratch, serve, states } from "./drive.mjs";

let passed = 0, failed = 0;
let chromium = await browser();
const only = process.argv.slice(2);
async function check(name, work) {
  if (only.length && !only.some((word) => name.includes(word))) return;
  // A browser that died says nothing of the page: the check is done once more, and the others go on.
  for (const last of [false, true]) {
    if (!chromium.isConnected()) chromium = await browser();
    try {
      await work();
      passed += 1;
      console.log(`ok      ${name}`);
      return;
    } catch (error) {
      const died = !last && !chromium.isConnected();
      console.log(`${died ? "again " : "FAILED"}  ${name}\n        ${String(error?.message ?? error).split("\n").slice(0, 12).join("\n        ")}`);
      if (!died) break;
    }
  }
  failed += 1;
}
function equal(a, b, what) { if (JSON.stringify(a) !== JSON.stringify(b)) throw new Error(`${what}: ${JSON.stringify(a)} is not ${JSON.stringify(b)}`); }
function holds(value, what) { if (!value) throw new Error(what); }
const figure = (page, number) => page.textContent(`#question-${number} .figure`);
const quiet = (page) => { equal(page.faults, [], "faults in the browser's console"); const place = new URL(page.url()).origin; equal(page.requests.filter((url) => !url.startsWith(place) && !url.startsWith("blob:") && !url.startsWith("data:")), [], "requests to elsewhere"); };

await check("the demo: change, look, write; the page's total and files are those of haulm map", async () => {
  const folder = demo();
  const served = await serve([join(folder, "job.toml"), "--write"]);
  const { page, context } = await open(chromium, served);
  await decided(page);
  holds(/515/.test(await figure(page, 3)), `total ${await figure(page, 3)}`);
  const box = page.locator('[id="key-response.maximum_yield"]');
  await box.fill("3.6 t/ha");
  await box.press("Enter");
  await page.waitForFunction(() => !document.querySelector("#question-3 .figure").textContent.startsWith("515"));
  await decided(page);
  await question(page, 5);
  await page.click("#make");
  await page.waitForSelector(".made", { timeout: 60_000 });
  const shown = await figure(page, 3);
  const record = JSON.parse(readFileSync(join(folder, "out/office/record.json"), "utf8"));
  holds(shown.startsWith(record.totals.n_kg.toFixed(0)), `${shown} is not ${record.totals.n_kg}`);
  const beside = join(scratch(), "beside");
  execFileSync(haulm, ["map", join(folder, "job.toml"), "--output", beside, "--quiet"], { stdio: "pipe" });
  let compared = 0;
  for (const { path } of record.outputs) { holds(readFileSync(join(folder, "out", path)).equals(readFileSync(join(beside, path))), `${path} differs`); compared += 1; }
  holds(compared > 10, `${compared} files compared`);
  const [download] = await Promise.all([page.waitForEvent("download"), page.locator(".files a", { hasText: "machine/CARD.txt" }).click()]);
  holds(readFileSync(await download.path()).equals(readFileSync(join(folder, "out/machine/CARD.txt"))), "the downloaded card differs");
  quiet(page);
  await context.close();
  await served.end();
});

await check("from nothing: drop image and boundary, draw a strip by its form, three answers, a map", async () => {
  const served = await serve([]);
  const { page, context } = await open(chromium, served);
  await page.setInputFiles("#files", ["mosaic.tif", "boundary.geojson", "weather.csv"].map((name) => join(root, "demo/field", name)));
  await page.fill("#start-name", "Drawn Ley");
  await page.fill("#start-date", "2026-04-14");
  await page.click("#begin");
  await page.waitForSelector(".answer.open", { timeout: 60_000 });
  await question(page, 2);
  await page.click("#tool-strips");
  for (const [name, value] of [["x", "559892"], ["y", "5559935"], ["heading", "63"], ["length", "200"], ["width", "24"]]) { await page.fill(`#draw-${name}`, value); await page.keyboard.press("Tab"); }
  await page.click("#draw-use");
  await page.waitForSelector(".drawing", { state: "detached", timeout: 60_000 });
  const set = async (number, key, value) => { await question(page, number); const box = page.locator(`[id="key-${key}"]`); await box.fill(value); await box.press("Enter"); await page.waitForFunction((k) => !document.querySelector(`[data-key="${k}"]`)?.classList.contains("wrong"), key, { timeout: 30_000 }); };
  const key = async (name) => (await page.locator(`[id="key-${name}"]`).count()) > 0;
  await question(page, 2);
  if (await key("season.planted")) await set(2, "season.planted", "2025-10-06");
  await set(3, "response.maximum_yield", "4.0 t/ha");
  await set(3, "rate.maximum", "80 kg N/ha");
  for (let round = 0; round < 6; round++) {
    const open = await page.evaluate(() => fetch("/api/v1/jobs/0").then((answer) => answer.json()).then((view) => view.faults.map((fault) => fault.key)));
    if (!open.length) break;
    const values = { "response.yield_curve": "winter wheat, common practice", "season.growing_days": "96", "machine.working_width": "24 m", "season.crop": "winter wheat" };
    const next = open.find((name) => values[name]);
    holds(next, `nothing fills ${open}`);
    await set({ season: 2, response: 3, machine: 5 }[next.split(".")[0]], next, values[next]);
  }
  await decided(page);
  await question(page, 5);
  await page.click("#make");
  await page.waitForSelector(".made", { timeout: 60_000 });
  quiet(page);
  await context.close();
  await served.end();
});

await check("a strip drawn by pointer becomes a strip of the job", async () => {
  const folder = demo();
  const served = await serve([join(folder, "job.toml"), "--write"]);
  const { page, context } = await open(chromium, served);
  await decided(page);
  await question(page, 2);
  await page.click("#tool-strips");
  const box = await page.locator(".map").boundingBox();
  await page.mouse.click(box.x + box.width * 0.53, box.y + box.height * 0.47);
  await page.mouse.click(box.x + box.width * 0.69, box.y + box.height * 0.34);
  await page.waitForTimeout(300);
  holds(Number(await page.inputValue("#draw-length")) > 30, "no length came from the two clicks");
  await page.click("#draw-use");
  await page.waitForSelector(".drawing", { state: "detached", timeout: 60_000 });
  const drawn = JSON.parse(readFileSync(join(folder, "job_drawn_strips.geojson"), "utf8"));
  equal(drawn.features.length, 3, "strips in the file");
  holds(/strips = "job_drawn_strips.geojson"/.test(readFileSync(join(folder, "job.toml"), "utf8")), "the job does not name them");
  await page.click("#undo");
  await page.waitForFunction(() => document.querySelector("#undo").disabled);
  holds(!existsSync(join(folder, "job_drawn_strips.geojson")), "undo left the file");
  quiet(page);
  await context.close();
  await served.end();
});

await check("a zone's rate is set by hand, with a reason, by its cell card; undo takes it back", async () => {
  const folder = demo();
  const original = readFileSync(join(folder, "job.toml"), "utf8");
  const served = await serve([join(folder, "job.toml"), "--write"]);
  const { page, context } = await open(chromium, served);
  await decided(page);
  await page.locator(".map").focus();
  await page.keyboard.press("Enter");
  await page.click("#set-zone");
  holds((await page.inputValue("#draw-zone")) !== "", "the cell's zone is not chosen");
  await page.selectOption("#draw-way", "at_most");
  await page.fill("#draw-amount", "5 kg N/ha");
  await page.fill("#draw-reason", "steep bank");
  await page.click("#draw-use");
  await page.waitForSelector(".drawing", { state: "detached", timeout: 60_000 });
  await page.waitForFunction(() => [...document.querySelectorAll(".entries li")].some((entry) => /at most 5 kg N\/ha: steep bank/.test(entry.textContent)));
  await page.waitForFunction(() => /steep bank/.test(document.querySelector("#cell-card")?.textContent ?? ""));
  holds(!(await figure(page, 3)).startsWith("515"), "the total has not moved");
  // What is refused is said, and nothing is written.
  const standing = readFileSync(join(folder, "job.toml"), "utf8");
  await page.click("#tool-set");
  await page.selectOption("#draw-zone", { index: 1 });
  await page.fill("#draw-amount", "500 kg N/ha");
  await page.fill("#draw-reason", "too much");
  await page.click("#draw-use");
  await page.waitForSelector(".refusal");
  holds(/more than rate.maximum/.test(await page.textContent(".refusal")), await page.textContent(".refusal"));
  equal(readFileSync(join(folder, "job.toml"), "utf8"), standing, "the job");
  equal([await page.inputValue("#draw-amount"), await page.inputValue("#draw-reason")], ["500 kg N/ha", "too much"], "what was typed");
  await page.click("#draw-end");
  await page.click("#undo");
  await page.waitForFunction(() => document.querySelector("#undo").disabled);
  equal(readFileSync(join(folder, "job.toml"), "utf8"), original, "the job after undo");
  quiet(page);
  await context.close();
  await served.end();
});

await check("corners of what stands in the job are moved by pointer and by numbers", async () => {
  const folder = demo();
  const served = await serve([join(folder, "job.toml"), "--write"]);
  const { page, context } = await open(chromium, served);
  await decided(page);
  await question(page, 1);
  await page.click("#corners-exclude-0");
  const first = await page.inputValue("#draw-points");
  // The first corner, by the plane's own numbers, is pulled 40 pixels to the right.
  const [x, y] = first.split("\n")[0].split(" ").map(Number);
  const at = await page.evaluate(([px, py]) => document.querySelector("haulm-page").pixel(px, py), [x, y]);
  const box = await page.locator(".map").boundingBox();
  await page.mouse.move(box.x + at[0], box.y + at[1]);
  await page.mouse.down();
  await page.mouse.move(box.x + at[0] + 20, box.y + at[1], { steps: 4 });
  await page.mouse.move(box.x + at[0] + 40, box.y + at[1], { steps: 4 });
  await page.mouse.up();
  await page.waitForFunction((text) => document.querySelector("#draw-points").value !== text, first);
  const moved = (await page.inputValue("#draw-points")).split("\n")[0].split(" ").map(Number);
  const metres = await page.evaluate(() => { const bar = document.querySelector("[data-metres]"); return (40 * Number(bar.dataset.metres)) / Number(bar.dataset.pixels); });
  holds(Math.abs(moved[0] - x - metres) < 0.05 * metres + 0.2 && Math.abs(moved[1] - y) < 0.05 * metres + 0.2, `${moved} is not ${metres.toFixed(1)} m east of ${x} ${y}`);
  await page.click("#draw-use");
  await page.waitForSelector(".drawing", { state: "detached", timeout: 60_000 });
  holds(/job_drawn_exclusion_1\.geojson/.test(readFileSync(join(folder, "job.toml"), "utf8")), "the job does not name the new shape");
  // The same in numbers: one point less.
  await page.click("#corners-exclude-0");
  const rows = (await page.inputValue("#draw-points")).split("\n");
  await page.fill("#draw-points", rows.slice(1).join("\n"));
  await page.click("#draw-use");
  await page.waitForSelector(".drawing", { state: "detached", timeout: 60_000 });
  const drawn = JSON.parse(readFileSync(join(folder, "job_drawn_exclusion_2.geojson"), "utf8"));
  equal(drawn.features[0].geometry.coordinates[0].length, rows.length, "points, the last of which is the first again");
  quiet(page);
  await context.close();
  await served.end();
});

await check("entries of lists are edited, added and taken out by the form", async () => {
  const folder = demo();
  const served = await serve([join(folder, "job.toml"), "--write"]);
  const { page, context } = await open(chromium, served);
  await decided(page);
  await question(page, 1);
  await page.locator("summary", { hasText: "[[field.exclude]]" }).click();
  const buffer = page.locator('[id="key-field.exclude[1].buffer"]');
  await buffer.fill("30 m");
  await buffer.press("Enter");
  const job = () => readFileSync(join(folder, "job.toml"), "utf8");
  for (let wait = 0; !/30 m/.test(job()) && wait < 100; wait++) await page.waitForTimeout(100);
  holds(/buffer *= *"30 m"/.test(job()), "the buffer is not in the job");
  await question(page, 3);
  await page.locator("summary", { hasText: "[[rate.set]]" }).click();
  await page.click('[id="add-rate.set"]');
  for (const [key, value] of [["path", "field/boundary.geojson"], ["add", "-5 kg N/ha"], ["reason", "manure"]]) { await page.fill(`[id="key-rate.set[1].${key}"]`, value); await page.keyboard.press("Tab"); }
  await page.click('[id="put-rate.set"]');
  for (let wait = 0; !/manure/.test(job()) && wait < 100; wait++) await page.waitForTimeout(100);
  holds(/\[\[rate\.set\]\]/.test(job()), "the entry is not in the job");
  await page.waitForSelector('[id="take-rate.set-1"]');
  await page.click('[id="take-rate.set-1"]');
  for (let wait = 0; /manure/.test(job()) && wait < 100; wait++) await page.waitForTimeout(100);
  holds(!/rate\.set/.test(job()), "the entry is still in the job");
  quiet(page);
  await context.close();
  await served.end();
});

await check("what is typed and not yet entered survives an answer that comes in between", async () => {
  const folder = demo();
  const served = await serve([join(folder, "job.toml"), "--write"]);
  const { page, context } = await open(chromium, served);
  await decided(page);
  // An answer takes its time, as on a large field.
  await page.route("**/change", async (route) => { await new Promise((ready) => setTimeout(ready, 700)); await route.continue(); });
  const sent = [];
  page.on("request", (request) => { if (request.url().endsWith("/change")) sent.push(...JSON.parse(request.postData()).changes.map((change) => change.value)); });
  const usual = page.locator('[id="key-rate.usual"]');
  const box = page.locator('[id="key-rate.maximum"]');
  await usual.fill("31 kg N/ha");
  await box.focus();
  await page.keyboard.press("ControlOrMeta+a");
  await page.keyboard.type("75 kg");
  // The answer to the first change, and its draws, come while the second is being typed.
  await page.waitForFunction(() => /usual 31/.test(document.querySelector("#panel-3").textContent));
  await page.waitForTimeout(300);
  equal(await page.inputValue('[id="key-rate.maximum"]'), "75 kg", "what was typed");
  equal(await page.evaluate(() => document.activeElement.id), "key-rate.maximum", "focus");
  await page.keyboard.type(" N/ha");
  await page.keyboard.press("Enter");
  const job = () => readFileSync(join(folder, "job.toml"), "utf8");
  for (let wait = 0; !/75 kg N\/ha/.test(job()) && wait < 100; wait++) await page.waitForTimeout(100);
  holds(/maximum *= *"75 kg N\/ha"/.test(job()), "the change did not reach the job");
  // And where nothing more is typed, Enter alone takes it.
  await usual.fill("32 kg N/ha");
  await box.focus();
  await page.keyboard.press("ControlOrMeta+a");
  await page.keyboard.type("70 kg N/ha");
  await page.waitForFunction(() => /usual 32/.test(document.querySelector("#panel-3").textContent));
  await page.waitForTimeout(300);
  await page.keyboard.press("Enter");
  for (let wait = 0; !/70 kg N\/ha/.test(job()) && wait < 100; wait++) await page.waitForTimeout(100);
  holds(/maximum *= *"70 kg N\/ha"/.test(job()), "Enter alone did not take what was typed");
  equal(sent, ['"31 kg N/ha"', '"75 kg N/ha"', '"32 kg N/ha"', '"70 kg N/ha"'], "changes that were sent");
  quiet(page);
  await context.close();
  await served.end();
});

await check("the whole way by keyboard in at most 60 presses", async () => {
  const folder = demo();
  const served = await serve([join(folder, "job.toml"), "--write"]);
  const { page, context } = await open(chromium, served);
  await decided(page);
  let presses = 0;
  const press = async (...keys) => { for (const key of keys) { presses += 1; await page.keyboard.press(key); await page.waitForTimeout(30); } };
  const type = async (text) => { presses += text.length; await page.keyboard.type(text); };
  const visible = async () => holds(await page.evaluate(() => { const active = document.activeElement; return active && active !== document.body && getComputedStyle(active).outlineStyle !== "none"; }), "the focus is not to be seen");
  await press("/");
  await type("maximum y");
  await press("Tab");
  await visible();
  await press("Enter");
  equal(await page.evaluate(() => document.activeElement.id), "key-response.maximum_yield", "focus");
  await press("ArrowDown", "ArrowDown");
  await page.waitForFunction(() => !document.querySelector("#question-3 .figure").textContent.startsWith("515"));
  await decided(page);
  await press("Tab", "Escape");
  await page.evaluate(() => document.activeElement.blur());
  await press("g", "Enter");
  await page.waitForSelector("#cell-card");
  const first = await page.textContent("#cell-card h2");
  await press("ArrowRight");
  await page.waitForFunction((text) => document.querySelector("#cell-card h2")?.textContent !== text, first);
  await press("5");
  await press("Tab");
  await visible();
  equal(await page.evaluate(() => document.activeElement.id), "make", "focus");
  await press("Enter");
  await page.waitForSelector(".made", { timeout: 60_000 });
  holds(presses <= 60, `${presses} presses`);
  console.log(`        ${presses} presses`);
  quiet(page);
  await context.close();
  await served.end();
});

for (const [name, state] of Object.entries(states)) await check(`accessible: ${name}, light and dark, 320 px, 200 %`, async () => {
  const served = await state.serve();
  const wrong = [];
  for (const [label, options] of [["light", { width: 1280 }], ["dark", { width: 1280, colorScheme: "dark" }], ["320 px", { width: 320 }], ["200 %", { width: 1280, zoom: 2 }]]) {
    const { page, context } = await open(chromium, served, options);
    await state.reach(page);
    await page.waitForTimeout(200);
    // The page's own policy keeps scripts out, so the checker comes in by the debugger.
    await page.evaluate(axe.source);
    const found = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ["violations"] }));
    for (const each of found.violations) wrong.push(`${label}: ${each.id}: ${each.nodes.map((node) => node.target.join(" ")).slice(0, 3).join(", ")} (${each.nodes.length})`);
    const over = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    if (over > 1) wrong.push(`${label}: the page is ${over} px wider than the window`);
    if (page.faults.length) wrong.push(`${label}: ${page.faults.join("; ")}`);
    await context.close();
  }
  await served.end();
  equal(wrong, [], "violations");
});

await check("what is changed while another change is on its way is not lost", async () => {
  const folder = demo();
  const served = await serve([join(folder, "job.toml"), "--write"]);
  const { page, context } = await open(chromium, served);
  await decided(page);
  await page.route("**/change", async (route) => { await new Promise((ready) => setTimeout(ready, 600)); await route.continue(); });
  const type = (key, value) => page.evaluate(([id, text]) => { const box = document.getElementById(id); box.value = text; box.dispatchEvent(new Event("change", { bubbles: true })); }, [`key-${key}`, value]);
  await type("response.maximum_yield", "3.7 t/ha");
  await type("rate.maximum", "75 kg N/ha");
  await type("rate.usual", "25 kg N/ha");
  const job = () => readFileSync(join(folder, "job.toml"), "utf8");
  const wanted = [/3\.7 t\/ha/, /75 kg N\/ha/, /25 kg N\/ha/];
  for (let wait = 0; !wanted.every((word) => word.test(job())) && wait < 150; wait++) await page.waitForTimeout(100);
  equal(wanted.filter((word) => !word.test(job())).map(String), [], "changes that did not reach the job");
  await context.close();
  await served.end();
});

await check("of very many cells the rates are on the map before the rest of the decision, and are the same", async () => {
  const folder = demo((text) => text.replace(/^cell_length .*$/m, 'sections = 6\ncell_length = "4 m"'));
  const served = await serve([join(folder, "job.toml"), "--write"]);
  const { page, context } = await open(chromium, served);
  await decided(page);
  const early = [];
  page.on("response", (answer) => { if (answer.url().endsWith("/early")) early.push(answer.body()); });
  const column = (name) => page.evaluate((asked) => fetch(`/api/v1/jobs/0/cells?columns=${asked}`).then((answer) => answer.arrayBuffer()).then((buffer) => Array.from(new Float32Array(buffer))), name);
  const before = await column("n");
  holds(before.length >= 10_000, `${before.length} cells`);
  for (const [layer, value] of [["zones", "3.4 t/ha"], ["rate", "3.9 t/ha"]]) {
    await page.check(`#layer-${layer}`, { force: true });
    await page.evaluate(() => { performance.clearMarks("haulm-early"); performance.clearMarks("haulm-drawn"); });
    await page.evaluate((text) => { const box = document.getElementById("key-response.maximum_yield"); box.value = text; box.dispatchEvent(new Event("change", { bubbles: true })); }, value);
    await page.waitForFunction(() => performance.getEntriesByName("haulm-early").length === 1, null, { timeout: 60_000 });
    await page.waitForFunction(() => performance.getEntriesByName("haulm-drawn").length === 1, null, { timeout: 60_000 });
    const order = await page.evaluate(() => performance.getEntriesByName("haulm-early")[0].startTime < performance.getEntriesByName("haulm-drawn")[0].startTime);
    holds(order, `${layer}: the rates came after the whole answer`);
  }
  equal(early.length, 2, "answers with rates alone");
  const bytes = await early[1];
  const numbers = Array.from(new Float32Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength)));
  const after = await column("n");
  holds(numbers.length === 2 * after.length && after.every((value, k) => Object.is(value, numbers[k]) || (Number.isNaN(value) && Number.isNaN(numbers[k]))), "rates that came early are not those of the decision");
  holds(after.some((value, k) => value !== before[k]), "nothing changed");
  const zones = await column("zone");
  const view = await page.evaluate(() => fetch("/api/v1/jobs/0").then((answer) => answer.json()));
  holds(zones.every((zone, k) => Math.abs(view.zones[zone - 1].n_kg_ha - numbers[after.length + k]) < 1e-4), "rates of zones that came early are not those of the decision");
  quiet(page);
  await context.close();
  await served.end();
});

await check("the choices over the map stay under the finger while an answer comes in", async () => {
  const served = await serve([join(demo(), "job.toml"), "--write"]);
  const { page, context } = await open(chromium, served);
  await decided(page);
  await page.evaluate(() => { globalThis.held = document.getElementById("layer-rate"); globalThis.held.focus(); });
  const shown = await figure(page, 3);
  await page.evaluate(() => { const box = document.getElementById("key-response.maximum_yield"); box.value = "3.6 t/ha"; box.dispatchEvent(new Event("change", { bubbles: true })); });
  await page.waitForFunction((before) => document.querySelector("#question-3 .figure").textContent !== before, shown);
  await decided(page);
  holds(await page.evaluate(() => globalThis.held.isConnected && document.activeElement === globalThis.held), "another element took its place");
  await page.keyboard.press("ArrowLeft");
  holds(await page.evaluate(() => [...document.querySelectorAll(".layers input[type=radio]")].filter((each) => each.checked).length === 1 && !globalThis.held.checked), "arrow keys do not choose");
  quiet(page);
  await context.close();
  await served.end();
});

await check("what is typed for a shape is taken also where the browser tells of no change", async () => {
  const folder = demo();
  const served = await serve([join(folder, "job.toml"), "--write"]);
  const { page, context } = await open(chromium, served);
  await decided(page);
  await question(page, 3);
  await page.click("#tool-set");
  await page.selectOption("#draw-zone", { index: 2 });
  // As a redraw in the midst of typing leaves it: letters came in, and no change is told.
  await page.evaluate(() => { for (const [id, text] of [["draw-amount", "20 kg N/ha"], ["draw-reason", "steep bank"]]) { const box = document.getElementById(id); box.value = text; box.dispatchEvent(new Event("input", { bubbles: true })); } });
  await page.click("#draw-use");
  await page.waitForSelector(".drawing", { state: "detached", timeout: 60_000 });
  const written = readFileSync(join(folder, "job.toml"), "utf8");
  holds(/rate = "20 kg N\/ha"/.test(written) && /reason = "steep bank"/.test(written), written.split("[[rate.set]]")[1]);
  await context.close();
  await served.end();
});

await check("a refusal names a file as it is spelled", async () => {
  const served = await states.refused.serve();
  const { page, context } = await open(chromium, served);
  await states.refused.reach(page);
  const said = await page.textContent(".refusal h2");
  holds(/ field\/absent\.tif: there is no such file/.test(said), said);
  await context.close();
  await served.end();
});

await check("the scale bar is right", async () => {
  // The bar's metres against its pixels and the plane's resolution; lengths on the ellipsoid by GDAL's own transformation are checked where the plane is chosen.
  const served = await serve([join(demo(), "job.toml")]);
  const { page, context } = await open(chromium, served);
  await decided(page);
  // Two places of the map, in degrees as the foot says them, and the length between them on the sphere of mean radius (haversine; from memory): 0.5 % is the sphere's own error.
  const box = await page.locator(".map").boundingBox();
  const place = () => page.textContent(".place");
  const read = async (x) => {
    const before = await place();
    await page.mouse.move(x, box.y + box.height / 2);
    // A busy machine draws late: what stood there before is no reading.
    for (let wait = 0; (await place()) === before && wait < 50; wait++) await page.waitForTimeout(100);
    await page.waitForTimeout(150);
    return (await place()).match(/-?\d+\.\d+/g).slice(0, 2).map(Number);
  };
  const [a, b] = [await read(box.x + 40), await read(box.x + box.width - 40)];
  const bar = await page.evaluate(() => { const label = document.querySelector("[data-metres]"); return { metres: Number(label.dataset.metres), pixels: Number(label.dataset.pixels) }; });
  const rad = Math.PI / 180;
  const hav = Math.sin(((b[0] - a[0]) * rad) / 2) ** 2 + Math.cos(a[0] * rad) * Math.cos(b[0] * rad) * Math.sin(((b[1] - a[1]) * rad) / 2) ** 2;
  const metres = 2 * 6_371_009 * Math.asin(Math.sqrt(hav));
  const perPixel = metres / (box.width - 80);
  const off = Math.abs(bar.metres / bar.pixels / perPixel - 1);
  holds(off < 0.01, `the bar is off by ${(100 * off).toFixed(2)} %`);
  await context.close();
  await served.end();
});

await check("at 0°, 45° and 65° the scale bar is the length on the ellipsoid, and known places lie at their pixels", async () => {
  // Planes, and a field of 400 m by 300 m on each; GDAL makes image and boundary, and carries the corners into degrees.
  for (const [latitude, system, east, north] of [[0, "EPSG:32631", 520_000, 3_000], [45, "EPSG:32633", 430_000, 4_983_000], [65, "EPSG:32634", 560_000, 7_210_000]]) {
    const folder = scratch();
    execFileSync("gdal_create", ["-q", "-of", "GTiff", "-ot", "Float32", "-outsize", "120", "100", "-bands", "2", "-burn", "0.08", "-burn", "0.32", "-a_srs", system, "-a_ullr", ...[east - 100, north + 400, east + 500, north - 100].map(String), join(folder, "image.tif")]);
    const corners = [[east, north], [east + 400, north], [east + 400, north + 300], [east, north + 300]];
    const degrees = execFileSync("gdaltransform", ["-s_srs", system, "-t_srs", "EPSG:4326", "-output_xy"], { input: corners.map((corner) => corner.join(" ")).join("\n") }).toString().trim().split("\n").map((row) => row.split(/\s+/).map(Number));
    const ring = degrees.map(([a, b]) => (Math.abs(a - latitude) < 3 && Math.abs(b - latitude) > 3 ? [b, a] : [a, b]));
    writeFileSync(join(folder, "boundary.geojson"), JSON.stringify({ type: "FeatureCollection", features: [{ type: "Feature", properties: {}, geometry: { type: "Polygon", coordinates: [[...ring, ring[0]]] } }] }));
    writeFileSync(join(folder, "job.toml"), '[field]\nname = "Latitude"\nboundary = "boundary.geojson"\n\n[imagery]\npath = "image.tif"\ndate = 2026-04-14\nindex = "NDVI"\nbands = { red = 1, nir = 2 }\n\n[machine]\nworking_width = "24 m"\n');
    const served = await serve([join(folder, "job.toml")]);
    const { page, context } = await open(chromium, served);
    await page.waitForSelector("[data-metres]", { timeout: 60_000 });
    await page.waitForTimeout(300);
    const box = await page.locator(".map").boundingBox();
    for (const [k, [x, y]] of corners.entries()) {
      const at = await page.evaluate(([px, py]) => document.querySelector("haulm-page").pixel(px, py), [x, y]);
      await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
      await page.mouse.move(box.x + at[0], box.y + at[1]);
      await page.waitForFunction(([lat, lon]) => { const found = document.querySelector(".place").textContent.match(/-?\d+\.\d+/g)?.map(Number) ?? []; return Math.abs(found[0] - lat) < 4e-5 && Math.abs(found[1] - lon) < 8e-5; }, [ring[k][1], ring[k][0]], { timeout: 5_000 }).catch(async () => { throw new Error(`${latitude}°: at corner ${k + 1} the foot says ${await page.textContent(".place")}, GDAL ${ring[k]}`); });
    }
    // The bar runs from east to west: metres a degree of longitude on WGS 84, a cos φ / √(1 − e² sin² φ), the ellipsoid's own definition.
    const [a, e2] = [6_378_137, 0.006694379990141];
    const phi = (ring[0][1] * Math.PI) / 180;
    const grid = Math.hypot((ring[1][0] - ring[0][0]) * (Math.PI / 180) * ((a * Math.cos(phi)) / Math.sqrt(1 - e2 * Math.sin(phi) ** 2)), (ring[1][1] - ring[0][1]) * (Math.PI / 180) * ((a * (1 - e2)) / (1 - e2 * Math.sin(phi) ** 2) ** 1.5));
    const pixels = await page.evaluate(([[x1, y1], [x2, y2]]) => { const field = document.querySelector("haulm-page"); const [p, q] = [field.pixel(x1, y1), field.pixel(x2, y2)]; return Math.hypot(p[0] - q[0], p[1] - q[1]); }, [corners[0], corners[1]]);
    const bar = await page.evaluate(() => { const label = document.querySelector("[data-metres]"); return Number(label.dataset.metres) / Number(label.dataset.pixels); });
    const off = Math.abs(bar / (grid / pixels) - 1);
    holds(off < 0.001, `${latitude}°: the bar is off by ${(100 * off).toFixed(3)} %`);
    await context.close();
    await served.end();
  }
});

await check("histogram, map and the drawing along a strip follow one another; a finding's place and the device's are shown", async () => {
  const served = await serve([join(demo(), "job.toml")]);
  const { page, context } = await open(chromium, served);
  await decided(page);
  await question(page, 2);
  await page.check("#layer-rate", { force: true });
  // Brushed on the drawing by pointer: the numbers below it follow, and the histogram shows the stretch.
  const chart = await page.locator(".chart.brush").first().boundingBox();
  await page.mouse.move(chart.x + chart.width * 0.3, chart.y + 30);
  await page.mouse.down();
  await page.mouse.move(chart.x + chart.width * 0.6, chart.y + 30, { steps: 5 });
  await page.mouse.up();
  const stretch = [await page.inputValue("#stretch-1-0"), await page.inputValue("#stretch-1-1")].map(Number);
  holds(stretch[1] - stretch[0] > 20, `stretch ${stretch}`);
  holds((await page.locator(".legend .part").count()) > 0, "the histogram does not show the stretch");
  holds((await page.locator(".chart .stretch").count()) === 1, "the drawing does not show the stretch");
  // The same in numbers, and away with it.
  await page.fill("#stretch-1-1", "");
  await page.fill("#stretch-1-0", "");
  await page.keyboard.press("Tab");
  await page.waitForFunction(() => document.querySelectorAll(".legend .part").length === 0);
  // A part of the histogram: pieces of the strip whose cells are lit are marked.
  const value = await page.evaluate(() => [...document.querySelector("#legend-choice").options].at(-3).value);
  await page.selectOption("#legend-choice", value);
  const some = await page.evaluate(() => [...document.querySelector("#legend-choice").options].filter((option) => /^\d/.test(option.value)).map((option) => option.value));
  let marked = 0;
  for (const each of some) { await page.selectOption("#legend-choice", each); marked += await page.locator(".chart .lit").count(); }
  holds(marked > 5, `${marked} pieces marked over all parts of the histogram`);
  // The device's place: a corner of the boundary, which lies at its pixel.
  const boundary = JSON.parse(readFileSync(join(root, "demo/field/boundary.geojson"), "utf8"));
  const [longitude, latitude] = boundary.features[0].geometry.coordinates.flat(boundary.features[0].geometry.type === "MultiPolygon" ? 2 : 1)[0];
  await context.grantPermissions(["geolocation"]);
  await context.setGeolocation({ latitude, longitude, accuracy: 4 });
  await page.click("#where");
  await page.waitForFunction(() => /you are here, ± 4 m/.test(document.querySelector(".place").textContent));
  await context.setGeolocation({ latitude: latitude + 1, longitude, accuracy: 4 });
  await page.waitForTimeout(5_200);
  await page.click("#where");
  await page.waitForFunction(() => /you are 11[01] km from the field/.test(document.querySelector(".place").textContent));
  quiet(page);
  await context.close();
  await served.end();
});

await check("zoomed in, the image comes in tiles of its own pixels", async () => {
  const served = await serve([join(demo(), "job.toml")]);
  const { page, context } = await open(chromium, served);
  await decided(page);
  const answers = [];
  page.on("response", (answer) => { if (/\/tiles\//.test(answer.url())) answers.push([new URL(answer.url()).pathname.split("/").slice(6).join("/"), answer.status()]); });
  await page.locator(".map").focus();
  for (const layer of ["index", "photo"]) {
    await page.check(`#layer-${layer}`, { force: true });
    for (let k = 0; k < 3; k++) { await page.locator(".map").focus(); await page.keyboard.press("+"); await page.waitForTimeout(400); }
    for (let wait = 0; !answers.some(([path]) => path.startsWith(layer)) && wait < 100; wait++) await page.waitForTimeout(100);
    holds(answers.some(([path]) => path.startsWith(layer)), `no tile of the ${layer} was fetched`);
  }
  await page.waitForTimeout(500);
  equal(answers.filter(([, status]) => status !== 200), [], "tiles that were refused");
  quiet(page);
  await context.close();
  await served.end();
});

await check("a page of another origin can neither read nor change", async () => {
  const served = await serve([join(demo(), "job.toml"), "--write"]);
  const { page, context } = await open(chromium, served);
  await decided(page);
  const other = createServer((_, answer) => answer.writeHead(200, { "content-type": "text/html" }).end("<!doctype html><title>other</title>"));
  await new Promise((ready) => other.listen(0, "127.0.0.1", ready));
  const spy = await context.newPage();
  await spy.goto(`http://127.0.0.1:${other.address().port}/`);
  const place = new URL(served.address).origin;
  const outcomes = await spy.evaluate(async (place) => {
    const tried = async (work) => { try { return (await work()) ?? "opened"; } catch { return "refused"; } };
    const socket = new Promise((done) => { const ws = new WebSocket(`${place.replace("http", "ws")}/api/v1/events`); ws.onopen = () => done("opened"); ws.onerror = () => done("refused"); });
    const framed = new Promise((done) => { const frame = document.createElement("iframe"); frame.src = place; frame.onload = () => { try { done(frame.contentDocument?.body?.textContent ? "opened" : "refused"); } catch { done("refused"); } }; document.body.append(frame); });
    const script = new Promise((done) => { const tag = document.createElement("script"); tag.src = `${place}/page.js`; tag.onload = () => done("opened"); tag.onerror = () => done("refused"); document.body.append(tag); });
    const image = new Promise((done) => { const tag = new Image(); tag.src = `${place}/api/v1/jobs/0/photo`; tag.onload = () => done("opened"); tag.onerror = () => done("refused"); });
    return [
      await tried(async () => (await fetch(`${place}/api/v1/jobs/0`, { credentials: "include" })).status),
      await tried(async () => ((await fetch(`${place}/api/v1/jobs/0/change`, { method: "POST", mode: "no-cors", credentials: "include", headers: { "content-type": "text/plain" }, body: "{}" })).status === 0 ? "refused" : "opened")),
      await tried(async () => (await fetch(`${place}/api/v1/jobs/0/undo`, { method: "POST", credentials: "include", headers: { "content-type": "application/json" }, body: "{}" })).status),
      await socket, await framed, await script, await image,
    ];
  }, place);
  equal(outcomes, Array(7).fill("refused"), "what another origin got");
  other.close();
  await context.close();
  await served.end();
});

// Control and direction characters are refused by the job file itself: tests/it/job_refusals.rs.
const NASTY = [
  `<script>globalThis.hit=1</script>`, `<img src=x onerror=globalThis.hit=1>`, `<svg onload=globalThis.hit=1>`, `"><script>globalThis.hit=1</script>`, `' onmouseover='globalThis.hit=1`,
  `</title><script>globalThis.hit=1</script>`, `</style><script>globalThis.hit=1</script>`, `]]><script>globalThis.hit=1</script>`, `--><script>globalThis.hit=1</script>`, `<![CDATA[<script>globalThis.hit=1</script>]]>`,
  `&lt;script&gt;globalThis.hit=1&lt;/script&gt;`, `&#60;script&#62;`, `<iframe srcdoc="<script>parent.hit=1</script>">`, `<a href="javascript:globalThis.hit=1">x</a>`, `javascript:globalThis.hit=1`,
  `<math><mtext></mtext><script>globalThis.hit=1</script>`, `<!ENTITY x SYSTEM "file:///etc/passwd">`, `&x;`, `<?xml version="1.0"?>`, `<body onload=globalThis.hit=1>`,
  `=1+1`, `+1+1`, `-1+1`, `@SUM(A1)`, `=HYPERLINK("http://a.example","b")`,
  "`globalThis.hit=1`", "${globalThis.hit=1}", `{{globalThis.hit=1}}`, `[% eval('1') %] || "zone"`, `'); globalThis.hit=1; ('`,
];
await check("names that are code stay text: 30 of them in page, report, card, styles, GPX, tables and terminal", async () => {
  const folder = demo();
  const template = readFileSync(join(folder, "job.toml"), "utf8");
  const fields = [];
  // Five to a job: its name, client, farm, the reason of an exclusion and that of a rate set by hand.
  for (let k = 0; k < NASTY.length; k += 5) {
    const [name, client, farm, reason, why] = NASTY.slice(k, k + 5).map((text) => JSON.stringify(text));
    const text = template.replace('name     = "Long Ley"', () => `name     = ${name}`).replace('reason = "standing water"', () => `reason = ${reason}`)
      .replace("[zones]", () => `[[rate.set]]\npath   = "field/wet_corner.geojson"\nat_most = "20 kg N/ha"\nreason = ${why}\n\n[zones]`) .replace(/^farm .*$/m, () => `farm = ${farm}`).replace(/^client .*$/m, () => `client = ${client}`).replace(/^folder .*$/m, `folder = "out-${k}"`);
    const file = join(folder, `job-${k}.toml`);
    writeFileSync(file, text);
    fields.push({ file, names: NASTY.slice(k, k + 5), out: join(folder, `out-${k}`) });
  }
  execFileSync("rm", [join(folder, "job.toml")]);
  const alone = await chromium.newContext();
  const plain = await alone.newPage();
  const hit = (page) => page.evaluate(() => globalThis.hit !== undefined || document.querySelector("script:not([src$='page.js']),iframe,img[src=x],body[onload],a[href^=javascript]") !== null);
  for (const { file, out } of fields) {
    let terminal;
    try { terminal = execFileSync(haulm, ["map", file], { encoding: "utf8", stdio: ["ignore", "pipe", "pipe"] }); } catch (error) { throw new Error(`${file}: ${error.stderr}`); }
    // eslint-disable-next-line no-control-regex
    holds(!/[\x00-\x08\x0b-\x1f\x7f\x9b\u202a-\u202e\u2066-\u2069]/.test(terminal), `${file}: a control character in the terminal`);
    for (const each of ["office/report.html", "machine/CARD.html"]) {
      await plain.goto(`file://${join(out, each)}`);
      holds(!(await hit(plain)), `${file}: ${each} ran something`);
      if (each.endsWith("report.html")) holds((await plain.textContent("body")).includes(fields.find((one) => one.file === file).names[0]), `${file}: the name is not in the report as it is`);
    }
    for (const each of readdirSync(join(out, "office")).concat(readdirSync(join(out, "machine")).map((one) => `../machine/${one}`)).filter((one) => /\.(qml|gpx|sld|xml|kml)$/i.test(one))) {
      const text = readFileSync(join(out, "office", each), "utf8");
      const wrong = await plain.evaluate((xml) => { const read = new DOMParser().parseFromString(xml, "application/xml"); return read.querySelector("parsererror")?.textContent ?? read.querySelector("script,iframe,svg,img,a")?.tagName ?? (read.doctype?.internalSubset || null); }, text);
      equal(wrong, null, `${file}: ${each}`);
    }
  }
  await alone.close();
  const served = await serve([folder, "--write"]);
  const { page, context } = await open(chromium, served);
  await page.waitForFunction((words) => document.querySelector(".folder [role=status]")?.textContent === words, `${fields.length} fields`, { timeout: 120_000 });
  holds(!(await hit(page)), "the list of fields ran something");
  const listed = await page.textContent("body");
  for (const { names } of fields) holds(listed.includes(names[0]), `${names[0]} is not listed as it is`);
  const seen = new Set();
  for (let at = 0; at < fields.length; at++) {
    await page.evaluate((id) => { location.hash = `job=${id}`; }, at);
    await page.waitForFunction((names) => { const name = document.querySelector(".head h1")?.textContent; return name && !names.includes(name) && name !== ""; }, [...seen], { timeout: 60_000 });
    await decided(page);
    for (const number of [1, 3, 5]) await question(page, number);
    holds(!(await hit(page)), `job ${at} ran something`);
    const shown = await page.textContent(".head h1");
    holds(fields.some(({ names }) => names[0] === shown), `${shown} is no name as it was given`);
    seen.add(shown);
  }
  await context.close();
  await served.end();
});

await check("killed while it writes, the job file is whole", async () => {
  const folder = demo();
  for (let round = 0; round < 5; round++) {
    const served = await serve([join(folder, "job.toml"), "--write"]);
    const { page, context } = await open(chromium, served);
    await decided(page);
    const box = page.locator('[id="key-rate.maximum"]');
    await box.fill(`${60 + round} kg N/ha`);
    await box.press("Enter");
    await page.waitForTimeout(7 * round);
    served.child.kill("SIGKILL");
    await context.close();
    const text = readFileSync(join(folder, "job.toml"), "utf8");
    holds(/^\[output\]/m.test(text) && /maximum = "\d+ kg N\/ha"/.test(text), "the job file is cut");
  }
  execFileSync(haulm, ["check", join(folder, "job.toml"), "--quiet"], { stdio: "pipe" });
});

await check("nothing the program prints but the start line holds the token", async () => {
  const served = await serve([join(demo(), "job.toml"), "--write", "-vv"]);
  const token = served.address.split("#")[1];
  const { page, context } = await open(chromium, served);
  await decided(page);
  holds(!(await page.evaluate(() => location.href)).includes(token), "the address line holds the token");
  equal(served.out().split(token).length - 1, 1, "times that standard output holds it");
  equal(served.err().split(token).length - 1, 0, "times that standard error holds it");
  const command = readFileSync(`/proc/${served.child.pid}/cmdline`, "utf8") + readFileSync(`/proc/${served.child.pid}/environ`, "utf8");
  holds(!command.includes(token), "the process list holds it");
  await context.close();
  await served.end();
});

await chromium.close();
console.log(`${passed} passed, ${failed} failed`);
process.exit(failed ? 1 : 0);
