import assert from "node:assert/strict";
import test from "node:test";

import { cases, importModule } from "./page-modules.js";

const { judgeReading } = await importModule("local-verdict.js");

// A row's data attributes are text.
const asDataset = (limits) => Object.fromEntries(
  Object.entries(limits).map(([name, value]) => [name, String(value)]));

test("a plain check is judged as the server judges it", () => {
  for (const { limits, entry, verdict, deviation } of cases.verdicts) {
    const judged = judgeReading(asDataset(limits), entry);
    assert.equal(judged.verdict, verdict, JSON.stringify(entry));
    assert.ok(Math.abs(judged.deviation - deviation) <= 1e-6, JSON.stringify(entry));
  }
});

test("a check without limits is left to the server", () => {
  assert.equal(judgeReading({}, { value: "66'" }), null);
});

test("a text that is no length is left to the server", () => {
  assert.equal(judgeReading({ nominal: "0", lower: "-1", upper: "1" }, { value: "66' 14\"" }), null);
});

test("a line read from the second corner needs the whole wall", () => {
  const limits = { nominal: "100", lower: "-1", upper: "1", first: "A" };
  assert.equal(judgeReading(limits, { value: "100 mm", from: "B" }), null);
});
