/* An RP2040 board that is not there: runs a compiled image in the npm package rp2040js, with voltages at its converter.

       node rp2040.mjs MODULES IMAGE.bin --out FILE --seconds S [--script FILE]    as fast as the machine can
       node rp2040.mjs MODULES IMAGE.bin --pty FD [--script FILE]                  in real time, bytes to this open pipe

   MODULES is the folder that holds rp2040js. Commands and the report at the end are those of bench.c; pin N is the converter's input
   N % 4 while the analogue switch (GPIO2) is at side N / 4. Of the commands there are "pin", "hang" and "quit".

   What the package leaves out is played here, by the data sheet: the boot ROM (sum over the first 252 bytes, copy to memory, call),
   the reason of a reset, the serial port's 32-byte FIFO at its baud rate, and the round robin of the converter, whose step to the
   next input the package masks wrongly. */

import { closeSync, openSync, readFileSync, writeSync } from "node:fs";
import { createInterface } from "node:readline";
import { createRequire } from "node:module";

const [modules, image, ...options] = process.argv.slice(2);
const option = (name) => (options.includes(name) ? options[options.indexOf(name) + 1] : null);
const { RP2040, LogLevel, ConsoleLogger } = createRequire(`${modules}/`)("rp2040js");

const REFERENCE_MV = 3300;
const BOOT_AT = 0x20041f00;
const POWER_ON = 1 << 8;
const SWITCH_GPIO = 2;
const FIFO_BYTES = 32;
const SLICE_NS = 2e6;

const waves = Array.from({ length: 8 }, () => ({ amplitude: 0, offset: REFERENCE_MV / 2, hertz: 60, phase: 0, noise: 0, cut: 0 }));
const commands = [];
const out = option("--out") ? openSync(option("--out"), "w") : null;
const port = Number(option("--pty"));
const limitS = Number(option("--seconds") ?? Infinity);
let sent = [], sentBytes = 0, quit = false, dozedNs = 0;

function gauss() {
  return Math.sqrt(-2 * Math.log(1 - Math.random())) * Math.cos(2 * Math.PI * Math.random());
}

function millivolts(wave, atS) {
  const turns = wave.hertz * atS + wave.phase / 360;
  const ofHalf = 180 * (turns * 2 - Math.floor(turns * 2));
  const sine = ofHalf >= wave.cut ? wave.amplitude * Math.sin(2 * Math.PI * turns) : 0;
  return wave.offset + sine + (wave.noise ? wave.noise * gauss() : 0);
}

function checksum(bytes) {
  return bytes.reduce((value, byte) => {
    value ^= byte << 24;
    for (let bit = 0; bit < 8; bit++) value = value < 0 ? (value << 1) ^ 0x04c11db7 : value << 1;
    return value;
  }, ~0) >>> 0;
}

/* A board from its start on, at this true time. */
function start(nanos, watchdogReason) {
  const chip = new RP2040();
  chip.clock.nanosCounter = nanos;
  chip.logger = new ConsoleLogger(LogLevel.Error, false);
  const code = readFileSync(image);
  if (checksum(code.subarray(0, 252)) !== code.readUInt32LE(252)) throw new Error("the boot ROM would refuse this image: its sum is wrong");
  chip.flash.set(code);
  chip.sram.set(code.subarray(0, 256), BOOT_AT - 0x20000000);
  chip.core.PC = BOOT_AT;
  chip.peripherals[0x40064] = Object.assign(chip.peripherals[0x40064], { readUint32: (offset) => (offset === 8 ? POWER_ON : 0) });

  const { adc } = chip;
  adc.numChannels = 6; // so that its search for the next input starts again at 0
  Object.defineProperty(adc, "activeChannel", {
    get: () => (adc.cs >> 12) & 7,
    set: (channel) => { adc.cs = (adc.cs & ~(7 << 12)) | (channel << 12); },
  });
  adc.onADCRead = (channel) => {
    const side = chip.gpio[SWITCH_GPIO].outputOverride === 3 ? 4 : 0;
    const mv = channel < 4 ? millivolts(waves[channel + side], chip.clock.nanos / 1e9) : 706;
    adc.channelValues[channel] = Math.min(4095, Math.max(0, Math.floor((mv * 4096) / REFERENCE_MV)));
    adc.currentChannel = channel;
    adc.sampleAlarm.schedule(2000);
  };

  const uart = chip.uart[0];
  let emptyAtNs = 0;
  const byteNs = () => 1e10 / uart.baudRate;
  Object.defineProperty(uart, "flags", {
    get: () => (emptyAtNs - chip.clock.nanos > FIFO_BYTES * byteNs() ? 1 << 5 : 0) | (emptyAtNs <= chip.clock.nanos ? 1 << 7 : 0),
  });
  uart.onByte = (byte) => {
    emptyAtNs = Math.max(emptyAtNs, chip.clock.nanos) + byteNs();
    sent.push(byte);
  };
  const watchdog = chip.peripherals[0x40058];
  watchdog.reason = watchdogReason;
  watchdog.onWatchdogTrigger = () => {
    watchdog.timer.enable = false;
    board = start(chip.clock.nanos, 1);
  };
  return chip;
}

function obey(words) {
  if (words[0] === "pin") {
    for (let at = 2; at < words.length; at += 2) waves[Number(words[1])][words[at]] = Number(words[at + 1]);
  } else if (words[0] === "hang") {
    board.adc.cs &= ~(1 << 3); // the converter stands still
  } else if (words[0] === "quit") {
    quit = true;
  } else {
    throw new Error(`no such command: ${words.join(" ")}`);
  }
}

function addCommand(line) {
  const [when, ...words] = line.trim().split(/\s+/);
  if (!words.length) return;
  commands.push({ atS: when === "now" ? 0 : Number(when), words });
  commands.sort((a, b) => a.atS - b.atS);
}

function runSlice() {
  const endNs = board.clock.nanos + SLICE_NS;
  while (commands.length && commands[0].atS <= board.clock.nanos / 1e9) obey(commands.shift().words);
  while (board.clock.nanos < endNs) {
    const { core, clock } = board;
    if (core.waiting) {
      const wait = clock.nanosToNextAlarm + 0.01; // past what rounding takes away
      dozedNs += wait;
      clock.tick(wait);
    } else {
      clock.tick((core.executeInstruction() * 1e9) / board.clkSys);
    }
  }
  passOn();
}

function passOn() {
  sentBytes += sent.length;
  const bytes = Buffer.from(sent);
  sent = [];
  if (out !== null) {
    writeSync(out, bytes);
    return;
  }
  for (let at = 0; at < bytes.length; ) at += writeSync(port, bytes, at);
}

function report() {
  const { nanos } = board.clock;
  console.log(`seconds ${nanos / 1e9} bytes ${sentBytes} overruns 0 unread 0 untouched 0 dozed ${dozedNs / nanos}`);
}

function inRealTime(startMs) {
  while (!quit && board.clock.nanos / 1e6 < performance.now() - startMs) runSlice();
  if (quit) {
    report();
    process.exit(0);
  }
  setTimeout(() => inRealTime(startMs), 1);
}

let board = start(0, 0);
if (option("--script")) readFileSync(option("--script"), "ascii").split("\n").forEach(addCommand);
if (out === null) {
  createInterface({ input: process.stdin }).on("line", addCommand).on("close", () => { quit = true; });
  inRealTime(performance.now());
} else {
  while (!quit && board.clock.nanos / 1e9 < limitS) runSlice();
  report();
  closeSync(out);
  process.exit(0);
}
