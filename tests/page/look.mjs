// Opens the page in states and widths and saves pictures: `node look.mjs FOLDER [state …]`. For looking, not for passing.
import { join } from "node:path";
import { open, browser, states, root } from "./drive.mjs";
import { mkdirSync } from "node:fs";
const [folder, ...only] = process.argv.slice(2);
mkdirSync(folder, { recursive: true });
const widths = (process.env.WIDTHS ?? "360,768,1280,1920").split(",").map(Number);
const schemes = (process.env.SCHEMES ?? "light,dark").split(",");
const chromium = await browser();
for (const [name, state] of Object.entries(states)) {
  if (only.length && !only.includes(name)) continue;
  const served = await state.serve();
  for (const colorScheme of schemes) for (const width of widths) {
    const { page, context } = await open(chromium, served, { width, colorScheme, dist: process.env.DIST ?? join(root, "src/web/page/dist") });
    await state.reach(page);
    await page.waitForTimeout(350);
    await page.screenshot({ path: `${folder}/${name}-${width}-${colorScheme}.png`, fullPage: width < 1100 });
    await context.close();
  }
  await served.end();
}
await chromium.close();
