import assert from "node:assert/strict";
import test from "node:test";

import { importModule } from "./page-modules.js";

const { closeInches, KEY_RULES } = await importModule("keypad-rules.js");

const NAMED_KEYS = { ft: "feet", in: "inches", sign: "sign", back: "back" };
const TYPED = {
  "31 ft 7 1/2": "31' 7 1/2\"",
  "31 ft 1/2": "31' 1/2\"",
  "31 ft": "31' ",
  "4 7 in": '47"',
  "5/8": '5/8"',
  "3 3/8 +1/32": '3 13/32"',
  "3 3/8 +1/32 +1/32": '3 3/8"',
  "3 +1/32 +1/32": '3"',
  "3 1/4 1/2": '3 1/2"',
  "11/16 1/16": '1/16"',
  "2 1/2 sign": '-2 1/2"',
  "sign sign 2": "2",
  "31 ft 7 1/2 back": "31' 7",
  "31 ft back": "31",
  "2 in back back": "",
  "3 1 . 6 . 2 5 ft": "31.625' ",
  "4 in 4": '4"',
  "7 . 1 2 5 m": "7.125 m",
  "7 1 2 5 mm m": "7125 m",
  "7 mm back": "7",
};

function press(text, key) {
  if (NAMED_KEYS[key]) return KEY_RULES[NAMED_KEYS[key]](text);
  if (/^(mm|cm|m)$/.test(key)) return KEY_RULES.unit(text, key);
  if (key.includes("/")) return KEY_RULES.fraction(text, key);
  return [...key].reduce(KEY_RULES.digit, text);
}

for (const [keys, text] of Object.entries(TYPED)) {
  test(`the keys ${keys} write ${text || "nothing"}`, () => {
    assert.equal(keys.split(" ").reduce(press, ""), text);
  });
}

test("inches left open are closed", () => {
  assert.equal(closeInches("66' 4"), "66' 4\"");
  assert.equal(closeInches("66' "), "66'");
  assert.equal(closeInches("20 MPa"), "20 MPa");
});
