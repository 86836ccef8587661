// The verdict that a phone can give without a network: the reading less the nominal,
// against the limits that came with the page. Tape corrections and repeats are left to
// the server, whose verdict replaces this one; until then it is marked as provisional.

import { SLACK_MM, parseLength } from "./lengths.js";

// Judge an entry by the limits of its check ({ nominal, lower, upper, whole, first }, the
// data attributes of its row). Returns { verdict, deviation, limit, nominal } in mm, or
// null where only the server can judge.
export function judgeReading(limits, entry) {
  const { nominal, lower, upper, whole, first } = limits;
  if (nominal === undefined) return null;
  const reading = parseLength(entry.value);
  if (reading === null) return null;
  // Read from the wall's other corner, a line is what remains of the whole wall.
  const isFromSecondCorner = Boolean(entry.from) && entry.from !== first;
  if (isFromSecondCorner && whole === undefined) return null;
  const value = isFromSecondCorner ? Number(whole) - reading : reading;
  const deviation = value - Number(nominal);
  const isWithin = deviation >= Number(lower) - SLACK_MM && deviation <= Number(upper) + SLACK_MM;
  const limit = Number(deviation > 0 ? upper : lower);
  return { verdict: isWithin ? "within" : "outside", deviation, limit, nominal: Number(nominal) };
}
