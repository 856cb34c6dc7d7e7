// What the chart computes, by node's own runner; no page is needed. Run: node --test tests/script
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";
import vm from "node:vm";

function load(...names) {
  const window = { pilotlamp: {} };
  const context = vm.createContext({ window, document: { dispatchEvent() {} }, CustomEvent: class {}, console });
  for (const name of names) {
    vm.runInContext(readFileSync(new URL(`../../dashboard/assets/${name}.js`, import.meta.url), "utf8"), context);
  }
  return window.pilotlamp;
}

const { chart, parted } = load("15_elements", "20_chart");

test("a scale ends at a round figure that holds what is shown", () => {
  for (const [value, top] of [[0.1, 0.1], [0.11, 0.2], [2.2, 3], [8, 8], [8.01, 10], [501, 1000]]) assert.equal(chart.niceTop(value), top);
});

test("one spike does not flatten the rest, and a level overload is shown whole", () => {
  const calm = Array(99).fill(1.9);
  assert.equal(chart.usualTop([...calm, 51], 0.5), 3);
  assert.equal(chart.usualTop([...Array(50).fill(2), ...Array(50).fill(9)], 0.5), 10);
  assert.equal(chart.usualTop([], 0.5), 0.5);
  assert.equal(chart.usualTop([NaN, 1], 0.5), 2);
});

test("the scale is never below a level that must be seen", () => {
  assert.ok(chart.usualTop(Array(100).fill(1), 8) >= 8);
});

test("spikes close together are one mark, with the highest figure", () => {
  const found = chart.spikes([[0, 1], [10, 40], [12, 51], [200, 30]], 3, 40);
  assert.equal(JSON.stringify(found), "[[10,51],[200,30]]");
});

test("a line breaks at holes and at figures that are missing", () => {
  const curve = { at: [0, 1, 2, 9, 10, 11], values: [1, 1, 1, 1, NaN, 1] };
  const pieces = chart.runs(curve, 0, 6, 3, (k) => curve.at[k], (v) => v);
  assert.equal(JSON.stringify(pieces.map((piece) => piece.length)), "[3,1,1]");
});

test("columns keep the highest and the lowest of each pixel", () => {
  const values = Array.from({ length: 10000 }, (_, k) => (k === 5003 ? 50 : k % 2));
  const curve = { at: values.map((_, k) => k), values };
  const piece = chart.columns(curve, 0, 10000, (k) => k / 20, (v) => v, 500).flat();
  assert.ok(piece.length < 400);
  assert.equal(Math.max(...piece.map((column) => column[2])), 50);
  assert.ok(piece.every((column) => column[1] <= column[2]));
});

test("the first after a value is found as a plain search finds it", () => {
  for (const sorted of [[], [1], [1, 2, 2, 5], [-3, 0, 4, 8, 9]]) {
    for (const value of [-4, 0, 1, 2, 4.5, 9, 10]) {
      const plain = sorted.findIndex((each) => each >= value);
      assert.equal(chart.firstAfter(sorted, value), plain < 0 ? sorted.length : plain);
    }
  }
});

test("clock and steps", () => {
  assert.equal(chart.clock(3725.25, 1), "1:02:05.3");
  assert.equal(chart.clock(59.9999999999, 0), "0:01:00");
  assert.equal(chart.stepFor(600, 8), 120);
  assert.equal(chart.stepFor(1e9, 2), 28800);
});

test("a short form says what is the matter, and never only where", () => {
  const whole = "Outer main of the very long layout of Fernhollow: no power: protection open";
  assert.equal(JSON.stringify(parted(whole)), JSON.stringify([whole, ""]));
  for (const [lead, rest] of [
    ["North bench is overloaded", ": its protection opens in about 30 s (7 s or never; type in points to narrow this)."],
    ["The protection of North bench has opened after an overload", ": everything it feeds is dead, and it may come back by itself."],
    ["Nothing is near its limit", ""],
  ]) assert.equal(JSON.stringify(parted(lead + rest)), JSON.stringify([lead, rest]));
});
