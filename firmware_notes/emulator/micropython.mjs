/* Runs Python files, one after the other, in MicroPython's own interpreter (the npm package of its WebAssembly port):

       node micropython.mjs MODULES FILE... */

import { readFileSync } from "node:fs";

const [modules, ...files] = process.argv.slice(2);
const { loadMicroPython } = await import(`${modules}/@micropython/micropython-webassembly-pyscript/micropython.mjs`);
const interpreter = await loadMicroPython({ heapsize: 8 << 20, linebuffer: false, stdout: (bytes) => process.stdout.write(bytes) });
for (const file of files) interpreter.runPython(readFileSync(file, "utf8"));
