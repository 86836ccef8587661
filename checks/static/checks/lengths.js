// Lengths as people write them, read and set as core/units.py does; the tests hold both
// against each other. What cannot be read gives null: the server says what is wrong.
"use strict";
(() => {
  const MM = { in: 25.4, ft: 304.8, mm: 1, cm: 10, m: 1000 };
  const LONGEST_MM = 1e7;
  const LONGEST_TEXT = 60;
  const BARE = /^[-+]?[\d ./]*\d$/;
  const VULGAR = {
    "¼": "1/4", "½": "1/2", "¾": "3/4", "⅐": "1/7", "⅑": "1/9", "⅒": "1/10", "⅓": "1/3",
    "⅔": "2/3", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5", "⅘": "4/5", "⅙": "1/6", "⅚": "5/6",
    "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
  };
  const PLAIN = {
    "′": "'", "’": "'", "″": '"', "”": '"', "⁄": "/", "−": "-", "‐": "-", "‑": "-",
    "\u00a0": " ", "\u2007": " ", "\u202f": " ",
  };
  const NUMBER = "(?:[0-9]+ +[0-9]+/[0-9]+|[0-9]+/[0-9]+|[0-9]+(?:\\.[0-9]+)?|\\.[0-9]+)";
  const ONE_UNIT = new RegExp(`^(${NUMBER}) *('|"|ft|in|mm|cm|m)$`);
  const FEET_INCHES = new RegExp(`^(${NUMBER}) *(?:'|ft)-? *(${NUMBER}) *(?:"|in)$`);

  function plain(text) {
    const marks = [...text].map((mark) => PLAIN[mark] || mark).join("").trim();
    return marks.replace(/([0-9])(?=[¼-¾⅐-⅞])/g, "$1 ")
      .replace(/([¼-¾⅐-⅞])(?=[0-9])/g, "$1 ")
      .replace(/[¼-¾⅐-⅞]/g, (mark) => VULGAR[mark]);
  }

  function amount(number) {
    const cut = number.lastIndexOf(" ");
    const whole = number.slice(0, cut + 1).trim();
    const last = number.slice(cut + 1);
    if (!last.includes("/")) return Number(last);
    const [top, bottom] = last.split("/").map(Number);
    if (!bottom || top >= bottom) return null;
    return Number(whole) + top / bottom;
  }

  function millimetres(body) {
    const one = ONE_UNIT.exec(body);
    if (one) {
      const unit = { "'": "ft", '"': "in" }[one[2]] || one[2];
      const number = amount(one[1]);
      const metric = unit === "mm" || unit === "cm" || unit === "m";
      return number === null || (metric && one[1].includes("/")) ? null : number * MM[unit];
    }
    const two = FEET_INCHES.exec(body);
    if (!two || !/^[0-9]+$/.test(two[1])) return null;
    const inches = amount(two[2]);
    return inches === null || inches >= 12 ? null : (Number(two[1]) * 12 + inches) * MM.in;
  }

  // A length in mm, rounded to six decimals; null where the text is none.
  function parse(text) {
    if (text.length > LONGEST_TEXT) return null;
    const written = plain(text);
    const signed = /^[-+]/.test(written);
    const mm = millimetres(signed ? written.slice(1) : written);
    if (mm === null || !Number.isFinite(mm) || mm > LONGEST_MM) return null;
    return (written.startsWith("-") ? -1 : 1) * Math.round(mm * 1e6) / 1e6;
  }

  // A bare number gets the unit chosen beside it; all else stays as typed.
  function withUnit(text, unit) {
    const trimmed = text.trim();
    return unit && BARE.test(trimmed) ? `${trimmed} ${unit}` : trimmed;
  }

  function fraction(rest, denominator) {
    let [top, bottom] = [rest, denominator];
    while (top % 2 === 0) [top, bottom] = [top / 2, bottom / 2];
    return `${top}⁄${bottom}`;
  }

  function imperial(mm, denominator) {
    const steps = Math.floor(mm / MM.in * denominator + 0.5);
    const rest = steps % denominator;
    const inches = Math.floor(steps / denominator);
    const feet = Math.floor(inches / 12);
    const parts = inches || !rest ? [String(inches % 12)] : [];
    if (rest) parts.push(fraction(rest, denominator));
    return { text: `${feet ? `${feet}′-` : ""}${parts.join(" ")}″`, nothing: !steps };
  }

  function decimal(mm) {
    const feet = Math.floor(mm / MM.ft * 1000 + 0.5) / 1000;
    const text = mm >= MM.ft ? `${feet.toFixed(3)} ft` : `${(mm / MM.in).toFixed(3)} in`;
    return { text, nothing: !/[1-9]/.test(text) };
  }

  function metric(mm) {
    const text = `${(Math.floor(mm * 10 + 0.5) / 10).toFixed(1)} mm`;
    return { text, nothing: !/[1-9]/.test(text) };
  }

  // A length as the reader likes it: imperial, decimal or metric.
  function format(mm, style, { denominator = 16, signed = false } = {}) {
    const size = Math.abs(mm);
    const set = { decimal, metric }[style] || ((length) => imperial(length, denominator));
    const { text, nothing } = set(size);
    if (nothing) return text;
    if (mm < 0) return `−${text}`;
    return signed ? `+${text}` : text;
  }

  globalThis.padstone = { ...globalThis.padstone, lengths: { parse, withUnit, format } };
})();
