import assert from "node:assert/strict";
import test from "node:test";

import { cases, importModule } from "./page-modules.js";

const { appendUnit, formatAgainstLimit, formatLength, parseLength } = await importModule("lengths.js");

test("a length is read as the server reads it", () => {
  for (const { text, mm } of cases.parse) {
    const read = parseLength(text);
    if (mm === null) assert.equal(read, null, text);
    else assert.ok(read !== null && Math.abs(read - mm) <= 1e-6, `${text}: ${read} instead of ${mm}`);
  }
});

test("a length is written as the server writes it", () => {
  for (const { mm, style, denominator, signed, text } of cases.format) {
    assert.equal(formatLength(mm, style, { denominator, signed }), text, `${mm} mm, ${style}`);
  }
});

test("a deviation beyond its limit never reads as equal to it, as on the server", () => {
  for (const { mm, limit, style, text } of cases.limits) {
    const written = formatAgainstLimit(mm, limit, style, { denominator: 32, signed: true });
    assert.equal(written, text, `${mm} mm, ${style}`);
  }
});

test("a bare number gets the unit beside it, as on the server", () => {
  for (const { text, unit, result } of cases.units) assert.equal(appendUnit(text, unit), result, text);
});
