// Lists the tasks of a task-data zip as the npm package isoxml understands them, as JSON: node check_stick.mjs TASKDATA.zip
import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import isoxml from 'isoxml';

const manager = new isoxml.ISOXMLManager();
await manager.parseISOXMLFile(new Uint8Array(readFileSync(process.argv[2])), 'application/zip');
const tasks = (manager.rootElement.attributes.Task ?? []).map((task) => ({
  name: task.attributes.TaskDesignator,
  field: task.attributes.PartfieldIdRef?.entity?.attributes.PartfieldDesignator ?? null,
  farm: task.attributes.FarmIdRef?.entity?.attributes.FarmDesignator ?? null,
  client: task.attributes.CustomerIdRef?.entity?.attributes.CustomerLastName ?? null,
  sha256: createHash('sha256').update(task.attributes.Grid?.[0]?.binaryData ?? new Uint8Array()).digest('hex'),
  channels: task.getGridValuesDescription().map(({ DDINumber, unit }) => ({ DDINumber, unit })),
}));
console.log(JSON.stringify({ warnings: manager.getWarnings(), tasks }));
