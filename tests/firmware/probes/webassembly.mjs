// The rule engine in MicroPython's WebAssembly build: 32-bit words, small integers of 31 bits.
//
//     node webassembly.mjs PACKAGE FIRMWARE SETTINGS REQUESTS
//
// PACKAGE is the folder of @micropython/micropython-webassembly-pyscript. Prints the SHA-256 of all replies of
// becklight.hostlink to the frames in REQUESTS, and the largest small integer's bits. An error exits with 1.
import fs from 'node:fs';
import path from 'node:path';
import { pathToFileURL } from 'node:url';

const [, , packageFolder, firmware, settings, requests] = process.argv;
const { loadMicroPython } = await import(pathToFileURL(path.join(packageFolder, 'micropython.mjs')));
const micropython = await loadMicroPython({
    heapsize: 4 * 1024 * 1024,
    linebuffer: true,
    stdout: (line) => console.log(line),
    stderr: (line) => console.error(line),
});
const copy = (from, to) => {
    micropython.FS.mkdirTree(to);
    for (const name of fs.readdirSync(from)) {
        const source = path.join(from, name);
        if (fs.statSync(source).isDirectory()) copy(source, `${to}/${name}`);
        else if (/\.m?py$/.test(name)) micropython.FS.writeFile(`${to}/${name}`, fs.readFileSync(source));
    }
};
copy(firmware, '/firmware');
micropython.FS.writeFile('/settings.json', fs.readFileSync(settings));
micropython.FS.writeFile('/requests', fs.readFileSync(requests));
try {
    micropython.runPython(`
import sys
sys.path.insert(0, "/firmware")
import binascii, hashlib, json
from becklight.hostlink import serve
from becklight.settings import Settings

class Replies:
    def __init__(self):
        self.hash = hashlib.sha256()
        self.count = 0
    def write(self, data):
        self.hash.update(data)
        self.count += 1

replies = Replies()
with open("/settings.json") as file:
    settings = Settings(json.load(file))
with open("/requests", "rb") as requests:
    serve(settings, requests, replies)
print(json.dumps({
    "sha256": binascii.hexlify(replies.hash.digest()).decode(),
    "steps": replies.count,
    "maxsize": sys.maxsize,
}))
`);
} catch (error) {
    console.error(error.message);
    process.exitCode = 1;
}
