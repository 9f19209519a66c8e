// Reads a task-data zip with the npm package isoxml and prints what it understood as JSON: node check.mjs TASKDATA.zip
import { readFileSync } from 'node:fs';
import isoxml from 'isoxml';

const manager = new isoxml.ISOXMLManager();
await manager.parseISOXMLFile(new Uint8Array(readFileSync(process.argv[2])), 'application/zip');
const tasks = manager.rootElement.attributes.Task ?? [];
const task = tasks[0];
const grid = task?.attributes.Grid?.[0];
const bytes = grid?.binaryData;
const view = bytes ? new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength) : null;
const plain = (attributes) => Object.fromEntries(Object.entries(attributes ?? {}).filter(([, value]) => ['string', 'number'].includes(typeof value)));
console.log(JSON.stringify({
  warnings: manager.getWarnings(),
  tasks: tasks.length,
  task: plain(task?.attributes),
  field: task?.attributes.PartfieldIdRef?.entity?.attributes.PartfieldDesignator ?? null,
  customers: (manager.rootElement.attributes.Customer ?? []).map((customer) => customer.attributes.CustomerLastName),
  farms: (manager.rootElement.attributes.Farm ?? []).map((farm) => farm.attributes.FarmDesignator),
  grid: plain(grid?.attributes),
  values: view ? Array.from({ length: view.byteLength / 4 }, (_, index) => view.getInt32(index * 4, true)) : [],
  channels: task?.getGridValuesDescription().map(({ DDINumber, DDEntityName, unit, scale, offset }) => ({ DDINumber, DDEntityName, unit, scale, offset })) ?? [],
}));
