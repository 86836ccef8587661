// Count readings and photographs in words.

const countOf = (number, noun) => (number ? [`${number} ${noun}${number === 1 ? "" : "s"}`] : []);

// "1 reading and 2 photographs"
export const describeCounts = (readings, photographs) =>
  [...countOf(readings, "reading"), ...countOf(photographs, "photograph")].join(" and ");

// "1 reading and 2 photographs wait"; empty where none does.
export function describeWaiting(readings, photographs) {
  const number = readings + photographs;
  return number ? `${describeCounts(readings, photographs)} ${number === 1 ? "waits" : "wait"}` : "";
}
