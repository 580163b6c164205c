// Runs lines of Python on an emulated RP2040 with a real MicroPython image, and looks at its pins after each.
//
//   node rp2040.cjs MODULES IMAGE BOOTROM < job.json > told.json
//
// MODULES is the folder node_modules that holds rp2040js. The job is {"pairs": [[8, 9], ...], "code": [...]}; what
// is told is {"steps": [{"out", "error", "high"}, ...], "both": [...]}: for each piece of code what it printed and
// which pins are driven high afterwards, and each pair that was ever high together.
"use strict";

const fs = require("fs");
const path = require("path");

const [modules, image, bootrom] = process.argv.slice(2);
const { Simulator, USBCDC, GPIOPinState, LogLevel, ConsoleLogger } = require(path.join(modules, "rp2040js"));
const job = JSON.parse(fs.readFileSync(0, "utf8"));
const FLASH = 0x10000000;
const END = "\x04>"; // of an answer of the raw REPL: OK, what was printed, 4, what was raised, 4, >

function load(chip) {
  const data = fs.readFileSync(image);
  if (data.length < 512 || data.readUInt32LE(0) !== 0x0a324655) {
    chip.flash.set(data, 0); // no UF2: an image of the flash from its beginning
    return;
  }
  for (let block = 0; block + 512 <= data.length; block += 512) {
    const [address, length] = [data.readUInt32LE(block + 12), data.readUInt32LE(block + 16)];
    if (address >= FLASH) chip.flash.set(data.subarray(block + 32, block + 32 + length), address - FLASH);
  }
}

const simulator = new Simulator();
const chip = simulator.rp2040;
chip.logger = new ConsoleLogger(LogLevel.Error, false);
const rom = fs.readFileSync(bootrom);
chip.loadBootrom(new Uint32Array(rom.buffer.slice(rom.byteOffset, rom.byteOffset + rom.length)));
load(chip);

const high = (pin) => chip.gpio[pin].value === GPIOPinState.High;
const told = { steps: [], both: [] };
for (const [one, other] of job.pairs) {
  const look = () => high(one) && high(other) && told.both.push([one, other]);
  chip.gpio[one].addListener(look);
  chip.gpio[other].addListener(look);
}

const port = new USBCDC(chip.usbCtrl);
let waiting = []; // bytes that the port's small buffer has no room for yet
let said = "";
let next = -1; // -1: the raw REPL has not answered yet
const send = (text) => (waiting = waiting.concat([...Buffer.from(text, "utf8")]));
port.onDeviceConnected = () => send("\r\x03\x03\r\x01");
port.onSerialData = (bytes) => {
  said += Buffer.from(bytes).toString("latin1");
  if (next < 0 ? said.includes("raw REPL") && said.endsWith(">") : said.endsWith(END)) {
    if (next >= 0) {
      const [out, error] = said.replace(/^OK/, "").split("\x04");
      const pins = [...Array(30).keys()].filter(high);
      told.steps.push({ out, error, high: pins });
    }
    said = "";
    next += 1;
    if (next === job.code.length) {
      fs.writeSync(1, JSON.stringify(told));
      process.exit(0);
    }
    send(job.code[next] + "\x04");
  }
};
setInterval(() => {
  while (waiting.length && port.txFIFO.itemCount < 64) port.sendSerialByte(waiting.shift());
}, 0);
chip.core.PC = FLASH;
simulator.execute();
