// Runs the Khronos glTF validator on files and prints what it found as JSON:
//   node validate.mjs a.glb b.gltf
// The exit code is 1 unless every file has 0 errors and 0 warnings.
import { readFile } from 'node:fs/promises';
import { dirname, resolve, basename } from 'node:path';
import validator from 'gltf-validator';

const reports = [];
let clean = true;
for (const path of process.argv.slice(2)) {
  const report = await validator.validateBytes(new Uint8Array(await readFile(path)), {
    uri: basename(path),
    maxIssues: 0,
    externalResourceFunction: (uri) =>
      readFile(resolve(dirname(path), decodeURIComponent(uri))).then((data) => new Uint8Array(data)),
  });
  const { numErrors, numWarnings, numInfos, messages } = report.issues;
  clean &&= numErrors === 0 && numWarnings === 0;
  reports.push({
    file: path,
    errors: numErrors,
    warnings: numWarnings,
    infos: numInfos,
    messages: messages.map(({ code, severity, pointer, message }) => ({ code, severity, pointer, message })),
  });
}
console.log(JSON.stringify(reports, null, 1));
process.exitCode = clean && reports.length > 0 ? 0 : 1;
