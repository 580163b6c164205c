// What each part of a device takes of the heap on 32-bit words: node heap.mjs PACKAGE FIRMWARE STORE CHIP
//
// CHIP is a folder with a made-up `machine`. This build collects garbage only between two calls from outside, so each part is a call of its own.
import fs from 'node:fs';
import path from 'node:path';
import { pathToFileURL } from 'node:url';

const [, , packageFolder, firmware, store, chip] = process.argv;
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
copy(chip, '/chip');
micropython.runPython('import sys, gc; sys.path[:0] = ["/firmware", "/chip"]; last = uncounted = 0');
const parts = [
    ['nothing', ''],
    ['start, code', 'import becklight.device.device'],
    ['settings', 'from becklight.device.stored import Stored; stored = Stored("/store"); stored.load()'],
    ['rules, code', 'from becklight.engine import RuleEngine'],
    ['rules, state', 'engine = RuleEngine(stored.settings)'],
    ['the rest, code', 'import becklight.device.assembly'],
    [
        'the rest, state',
        'from becklight.device.benchlink import BenchBoard\n' +
            'del engine, stored\n' +
            'device = becklight.device.device.Device(BenchBoard(False), "/store")',
    ],
    ['the console, used', 'for line in ("help", "settings", "fastlog", "stop", "state"): device.console.answer(line, 0)'],
    ['not counted: made up here, or within every image', 'import machine, asyncio'],
    [
        "the board's own, code",
        'import becklight.board.board, becklight.board.run, becklight.board.profiles\n' +
            'becklight.passing.drop("becklight.board.profiles")',
    ],
];
for (const [name, code] of parts) {
    micropython.runPython(code);
    for (let turn = 0; turn < 3; turn++) micropython.runPython('gc.collect()');
    micropython.runPython(`
now = gc.mem_alloc()
uncounted += now - last if "${name}".startswith("not") else 0
print("32-bit words, ${name}: {} bytes, in all {}".format(now - last, now - uncounted))
last = now
`);
}
