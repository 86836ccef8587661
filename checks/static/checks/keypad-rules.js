// What each key of the keypad makes of the text in a field. Pure functions, without a
// page, so that they can be tested alone.

const MAX_FRACTION_DENOMINATOR = 64;
const TRAILING_FRACTION = /(^|[ '"])(\d+\/\d+)"?$/;
const TRAILING_UNIT = /["']$|(mm|cm|m|ft|in|psi|MPa)$/;

function appendDigit(text, key) {
  if (TRAILING_UNIT.test(text) && !text.endsWith("'")) return text;
  if (key === "." && /\.\d*$/.test(text)) return text;
  return text.endsWith("'") ? `${text} ${key}` : text + key;
}

function formatSixtyFourths(count) {
  let [top, bottom] = [count, MAX_FRACTION_DENOMINATOR];
  while (top % 2 === 0) [top, bottom] = [top / 2, bottom / 2];
  return `${top}/${bottom}`;
}

// Add 1/32 to the fraction that stands there; pressed again, take it off.
function toggleThirtySecond(fraction) {
  if (!fraction) return "1/32";
  const [top, bottom] = fraction.split("/").map(Number);
  const count = top * MAX_FRACTION_DENOMINATOR / bottom;
  const next = bottom === 32 ? count - 2 : count + 2;
  return next ? formatSixtyFourths(next) : "";
}

function setFraction(text, key) {
  const match = TRAILING_FRACTION.exec(text);
  const base = (match ? text.slice(0, match.index) + match[1] : text).replace(/"$/, "").trimEnd();
  if (/\.\d*$/.test(base)) return text;
  const fraction = key === "+1/32" ? toggleThirtySecond(match && match[2]) : key;
  if (!fraction) return base && `${base}${/\d$/.test(base) ? '"' : " "}`;
  const gap = base && base !== "-" ? " " : "";
  return `${base}${gap}${fraction}"`;
}

function setUnit(text, key) {
  if (/\d$/.test(text)) return `${text} ${key}`;
  return text.replace(/ ?(mm|cm|m|psi|MPa)$/, ` ${key}`);
}

// Each rule takes the text as it stands and the key's value, and returns the new text.
export const KEY_RULES = {
  digit: appendDigit,
  feet: (text) => (/\d$/.test(text) && !/['"/]/.test(text) ? `${text}' ` : text),
  inches: (text) => (/\d$/.test(text) ? `${text}"` : text),
  unit: setUnit,
  sign: (text) => (text.startsWith("-") ? text.slice(1) : `-${text}`),
  fraction: setFraction,
  back: (text) => text.replace(/( (mm|cm|m|psi|MPa)|(^| )?\d+\/\d+"?|' ?|.)$/, ""),
};

// Close inches whose mark was not typed: 66' 4 becomes 66' 4".
export function closeInches(text) {
  const trimmed = text.trim();
  return /^[-+]?\d+' ?\d+(\.\d+)?$/.test(trimmed) ? `${trimmed}"` : trimmed;
}
