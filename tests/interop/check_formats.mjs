// Reads a file with packages of npm and prints what they understood as JSON: node check_formats.mjs geojson|flatgeobuf FILE
import { readFileSync } from 'node:fs';

const [, , mode, path] = process.argv;
if (mode === 'geojson') {
  const { getIssues } = await import('@placemarkio/check-geojson');
  console.log(JSON.stringify({ issues: getIssues(readFileSync(path, 'utf8')) }));
} else {
  const { deserialize } = await import('flatgeobuf/lib/mjs/geojson.js');
  let code = null;
  const features = [];
  const header = (meta) => { code = meta.crs?.code ?? null; };
  for await (const feature of deserialize(new Uint8Array(readFileSync(path)), { headerMetaFn: header })) features.push(feature);
  // Whole numbers of 64 bits come as BigInt.
  console.log(JSON.stringify({ code, features }, (_, value) => (typeof value === 'bigint' ? Number(value) : value)));
}
