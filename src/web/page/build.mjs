// Makes dist/ out of source/: one script, one style sheet, the shell and the icon, packed as they are sent.
// `node build.mjs` writes; `node build.mjs --check` compares with what is there and fails when it differs.
import { build } from "esbuild";
import { readFileSync, writeFileSync, mkdirSync, existsSync } from "node:fs";
import { gzipSync, gunzipSync } from "node:zlib";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const here = dirname(fileURLToPath(import.meta.url));
const check = process.argv.includes("--check");
const made = await build({
  entryPoints: [join(here, "source/page.ts"), join(here, "source/page.css")],
  outdir: join(here, "dist"), bundle: true, minify: true, format: "esm", target: ["es2022"], write: false, legalComments: "none", absWorkingDir: here,
});
const files = new Map(made.outputFiles.map((file) => [file.path.split("/").pop(), Buffer.from(file.contents)]));
for (const name of ["index.html", "icon.svg"]) files.set(name, readFileSync(join(here, "source", name)));
mkdirSync(join(here, "dist"), { recursive: true });
let sum = 0, wrong = 0;
for (const [name, bytes] of files) {
  const path = join(here, "dist", `${name}.gz`);
  const packed = gzipSync(bytes, { level: 9 });
  // No time and no system in the header: the same source gives the same bytes.
  packed.fill(0, 4, 8);
  packed[9] = 255;
  sum += packed.length;
  if (check) {
    const known = existsSync(path) ? gunzipSync(readFileSync(path)) : Buffer.alloc(0);
    if (!known.equals(bytes)) { console.error(`dist/${name}.gz is not what source/ makes: run node build.mjs`); wrong += 1; }
  } else writeFileSync(path, packed);
}
console.log(`${files.size} files, ${(sum / 1000).toFixed(1)} kB packed`);
if (sum > 400_000) { console.error("more than 400 kB"); wrong += 1; }
process.exit(wrong ? 1 : 0);
