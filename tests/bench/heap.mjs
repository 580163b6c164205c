// What each part of a device takes of the heap on 32-bit words: node heap.mjs PACKAGE FIRMWARE STORE
//
// This build collects garbage only between two calls from outside, so each part is a call of its own.
import fs from 'node:fs';
import path from 'node:path';
import { pathToFileURL } from 'node:url';

const [, , packageFolder, firmware, store] = process.argv;
const { loadMicroPython } = await import(pathToFileURL(path.join(path.resolve(packageFolder), 'micropython.mjs')));
const micropython = await loadMicroPython({ heapsize: 4 * 1024 * 1024, linebuffer: true, stdout: console.log });
const copy = (from, to) => {
    micropython.FS.mkdirTree(to);
    for (const name of fs.readdirSync(from)) {
        const source = path.join(from, name);
        if (fs.statSync(source).isDirectory()) copy(source, `${to}/${name}`);
        else micropython.FS.writeFile(`${to}/${name}`, fs.readFileSync(source));
    }
};
copy(firmware, '/firmware');
copy(store, '/store');
micropython.runPython('import sys, gc; sys.path.insert(0, "/firmware"); last = 0');
const parts = [
    ['nothing', ''],
    ['settings, code', 'import becklight.device.device'],
    ['settings, read', 'from becklight.device.stored import Stored; stored = Stored("/store"); stored.load()'],
    ['engine, code', 'from becklight.engine import RuleEngine'],
    ['engine, state', 'engine = RuleEngine(stored.settings)'],
    ['the rest, code', 'import becklight.device.assembly'],
];
for (const [name, code] of parts) {
    micropython.runPython(code);
    for (let turn = 0; turn < 3; turn++) micropython.runPython('gc.collect()');
    micropython.runPython(`
now = gc.mem_alloc()
print("32-bit words, ${name}: {} bytes, in all {}".format(now - last, now))
last = now
`);
}
