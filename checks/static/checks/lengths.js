// Parse and format lengths by the same rules as core/units.py; tests/javascript compares
// the two on the same cases. A text that is no length gives null: the server, which
// checks every reading again, says what is wrong with it.

const MM_PER_UNIT = { in: 25.4, ft: 304.8, mm: 1, cm: 10, m: 1000 };
const MAX_LENGTH_MM = 1e7;
const FINEST_DENOMINATOR = 64;
export const SLACK_MM = 1e-6; // as the engine: a deviation equal to the limit is within
const MAX_TEXT_LENGTH = 60;
const NUMBER_WITHOUT_UNIT = /^[-+]?[\d ./]*\d$/;
const FRACTION_CHARACTERS = {
  "¼": "1/4", "½": "1/2", "¾": "3/4", "⅐": "1/7", "⅑": "1/9", "⅒": "1/10", "⅓": "1/3",
  "⅔": "2/3", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5", "⅘": "4/5", "⅙": "1/6", "⅚": "5/6",
  "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
};
const ASCII_FORMS = {
  "′": "'", "’": "'", "″": '"', "”": '"', "⁄": "/", "−": "-", "‐": "-", "‑": "-",
  "\u00a0": " ", "\u2007": " ", "\u202f": " ",
};
const NUMBER = "(?:[0-9]+ +[0-9]+/[0-9]+|[0-9]+/[0-9]+|[0-9]+(?:\\.[0-9]+)?|\\.[0-9]+)";
const ONE_UNIT = new RegExp(`^(${NUMBER}) *('|"|ft|in|mm|cm|m)$`);
const FEET_AND_INCHES = new RegExp(`^(${NUMBER}) *(?:'|ft)-? *(${NUMBER}) *(?:"|in)$`);

function toAscii(text) {
  const ascii = [...text].map((character) => ASCII_FORMS[character] || character).join("").trim();
  return ascii.replace(/([0-9])(?=[¼-¾⅐-⅞])/g, "$1 ")
    .replace(/([¼-¾⅐-⅞])(?=[0-9])/g, "$1 ")
    .replace(/[¼-¾⅐-⅞]/g, (character) => FRACTION_CHARACTERS[character]);
}

function parseNumber(text) {
  const space = text.lastIndexOf(" ");
  const whole = text.slice(0, space + 1).trim();
  const rest = text.slice(space + 1);
  if (!rest.includes("/")) return Number(rest);
  const [numerator, denominator] = rest.split("/").map(Number);
  if (!denominator || numerator >= denominator) return null;
  return Number(whole) + numerator / denominator;
}

function parseUnsigned(text) {
  const one = ONE_UNIT.exec(text);
  if (one) {
    const unit = { "'": "ft", '"': "in" }[one[2]] || one[2];
    const number = parseNumber(one[1]);
    const isMetric = unit === "mm" || unit === "cm" || unit === "m";
    return number === null || (isMetric && one[1].includes("/")) ? null : number * MM_PER_UNIT[unit];
  }
  const two = FEET_AND_INCHES.exec(text);
  if (!two || !/^[0-9]+$/.test(two[1])) return null;
  const inches = parseNumber(two[2]);
  return inches === null || inches >= 12 ? null : (Number(two[1]) * 12 + inches) * MM_PER_UNIT.in;
}

// Return a length in mm, rounded to six decimals as the server stores it, or null.
export function parseLength(text) {
  if (text.length > MAX_TEXT_LENGTH) return null;
  const ascii = toAscii(text);
  const isSigned = /^[-+]/.test(ascii);
  const mm = parseUnsigned(isSigned ? ascii.slice(1) : ascii);
  if (mm === null || !Number.isFinite(mm) || mm > MAX_LENGTH_MM) return null;
  return (ascii.startsWith("-") ? -1 : 1) * Math.round(mm * 1e6) / 1e6;
}

// Append the unit chosen beside the field to a bare number; return other text unchanged.
export function appendUnit(text, unit) {
  const trimmed = text.trim();
  return unit && NUMBER_WITHOUT_UNIT.test(trimmed) ? `${trimmed} ${unit}` : trimmed;
}

function formatFraction(numerator, denominator) {
  let [top, bottom] = [numerator, denominator];
  while (top % 2 === 0) [top, bottom] = [top / 2, bottom / 2];
  return `${top}⁄${bottom}`;
}

function formatImperial(mm, denominator) {
  const steps = Math.floor(mm / MM_PER_UNIT.in * denominator + 0.5);
  const rest = steps % denominator;
  const inches = Math.floor(steps / denominator);
  const feet = Math.floor(inches / 12);
  const parts = inches || !rest ? [String(inches % 12)] : [];
  if (rest) parts.push(formatFraction(rest, denominator));
  return { text: `${feet ? `${feet}′-` : ""}${parts.join(" ")}″`, isZero: !steps };
}

function formatDecimal(mm) {
  const feet = Math.floor(mm / MM_PER_UNIT.ft * 1000 + 0.5) / 1000;
  const text = mm >= MM_PER_UNIT.ft ? `${feet.toFixed(3)} ft` : `${(mm / MM_PER_UNIT.in).toFixed(3)} in`;
  return { text, isZero: !/[1-9]/.test(text) };
}

function formatMetric(mm) {
  const text = `${(Math.floor(mm * 10 + 0.5) / 10).toFixed(1)} mm`;
  return { text, isZero: !/[1-9]/.test(text) };
}

// Format a length in the reader's style: "imperial", "decimal" or "metric". A length
// that rounds to zero has no sign, so that "−0″" never stands on a page.
export function formatLength(mm, style, { denominator = 16, signed = false } = {}) {
  const size = Math.abs(mm);
  const formatters = { decimal: formatDecimal, metric: formatMetric };
  const { text, isZero } = formatters[style]?.(size) ?? formatImperial(size, denominator);
  if (isZero) return text;
  if (mm < 0) return `−${text}`;
  return signed ? `+${text}` : text;
}

// Write a deviation beside its limit (both mm): beyond it, it never reads as equal to it.
// As core/units.py: a finer fraction first, down to 1/64 in, then "just over".
export function formatAgainstLimit(mm, limit, style, { denominator = 16, signed = false } = {}) {
  const text = formatLength(mm, style, { denominator, signed });
  if (!Number.isFinite(limit) || Math.abs(mm) <= Math.abs(limit) + SLACK_MM) return text;
  const onLimit = Math.sign(mm) * Math.abs(limit);
  if (text !== formatLength(onLimit, style, { denominator, signed })) return text;
  if (style === "imperial" && denominator < FINEST_DENOMINATOR) {
    return formatAgainstLimit(mm, limit, style, { denominator: denominator * 2, signed });
  }
  return `just over ${formatLength(mm, style, { denominator })}`;
}
