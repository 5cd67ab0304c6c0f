// The rules of the bench, as the program has them: which masses follow from the loads, and whether a series has reached
// constant mass. Masses are fractions of a kilogram.
//
// A table is { unit, readability, rule, trials, lines }, each line { things, treatment, event, cells }; a cell is what
// `readNumber` gives, or null where there is no reading. `unit` and `readability` are fractions of a kilogram; the latter may be null.

/**
 * The lines of a table from what was written: entries { label, things, treatment, number } with the texts of their cells, and events
 * { eventText } between them. A line comes after an event where one was written since the line of its load before it.
 */
function linesOf(entries, textsOf, mark) {
  const lines = [];
  const events = new Map();
  let count = 0;
  for (const entry of entries) {
    if (entry.eventText) { count += 1; continue; }
    const load = [...entry.things].sort().join(" + ");
    lines.push({ ...entry, event: count > (events.get(load) ?? 0), cells: textsOf(entry).map((text) => readNumber(text, mark)) });
    events.set(load, count);
  }
  return lines;
}

/** The lines of each load in the order written: what stands on the pan does not depend on the order of its things. */
function seriesOf(table) {
  const series = new Map();
  for (const [index, line] of table.lines.entries()) {
    const key = [...line.things].sort().join(" + ");
    if (!series.has(key)) series.set(key, { key, things: line.things, lines: [] });
    series.get(key).lines.push({ ...line, index });
  }
  return [...series.values()];
}

/** The last weighing of a load in a trial, which stands for it; null where there is none. */
function standing(series, trial) {
  return series.lines.map((line) => line.cells[trial]).filter(Boolean).at(-1) ?? null;
}

/** The mass of some things together, where it follows from the loads of a trial; else null. */
function massOf(things, table, trial) {
  const all = seriesOf(table);
  const names = [...new Set([...all.flatMap((series) => series.things), ...things])];
  const row = (own) => names.map((name) => new Fraction(own.includes(name) ? 1n : 0n));
  const known = all.map((series) => [series, standing(series, trial)]).filter(([, cell]) => cell);
  const rows = [];
  for (const [series, cell] of known) {
    const reduced = reduce([...row(series.things), cell.value.multiply(table.unit)], rows);
    const pivot = reduced.findIndex((entry, column) => column < names.length && !entry.isZero());
    if (pivot >= 0) rows.push({ pivot, entries: reduced.map((entry) => entry.divide(reduced[pivot])) });
  }
  const wanted = reduce([...row(things), new Fraction(0n)], rows);
  const follows = wanted.slice(0, names.length).every((entry) => entry.isZero());
  return follows ? wanted.at(-1).negated() : null;
}

/** An equation with the known ones taken from it as far as they go. */
function reduce(entries, rows) {
  let left = entries;
  for (const { pivot, entries: known } of rows) {
    const times = left[pivot];
    if (!times.isZero()) left = left.map((entry, column) => entry.subtract(known[column].multiply(times)));
  }
  return left;
}

const isPart = (small, large) => small.things.every((thing) => large.things.includes(thing)) && small.key !== large.key;

/** The net mass of a load: less the smallest other load that is a part of it, with the first thing if one is. */
function netMass(series, table, trial) {
  const all = seriesOf(table);
  const first = series.things[0];
  const parts = all.filter((other) => isPart(other, series) && standing(other, trial));
  const vessel = parts.sort((a, b) => !a.things.includes(first) - !b.things.includes(first) || a.things.length - b.things.length)[0];
  if (vessel) return massOf(series.things.filter((thing) => !vessel.things.includes(thing)), table, trial);
  const carries = all.some((other) => isPart(series, other));
  const gross = standing(series, trial);
  return gross && (carries || series.things.length === 1) ? gross.value.multiply(table.unit) : null;
}

/** The mass of sample taken: of the thing called `sample`, else of the first thing that was weighed in. */
function sampleTaken(table, trial) {
  const sample = massOf(["sample"], table, trial);
  if (sample) return sample;
  const all = seriesOf(table);
  const isVessel = (thing) => all.some((series) => series.things.length === 1 && series.things[0] === thing)
    && all.some((series) => series.things.length > 1 && series.things[0] === thing);
  const things = [...new Set(all.flatMap((series) => series.things))].filter((thing) => !isVessel(thing));
  const weighed = things.find((thing) => table.trials.some((_, index) => massOf([thing], table, index)));
  return weighed === undefined ? null : massOf([weighed], table, trial);
}

/** The scale interval of a reading: the balance's, else one unit of its last place. */
function scaleInterval(cell, table) {
  return table.readability ?? new Fraction(1n, 10n ** BigInt(cell.decimals)).multiply(table.unit);
}

/** The limit on a change, or in words why there is none. */
function limitOf(limit, basis) {
  const times = (of, why) => (of ? Fraction.of(limit.factor).multiply(of.magnitude()) : why);
  switch (limit.kind) {
    case "absolute": return Fraction.of(limit.mass);
    case "per sample": return times(basis.sample, "the mass of sample taken is not known");
    case "of gross": return times(basis.gross, "there is no weighing");
    case "of net": return times(basis.net, "the net mass is not known");
    case "scale intervals": return times(basis.interval, "the scale interval is not known");
    case "fixed time": return "the method heats for a fixed time";
  }
  const [a, b] = [limitOf(limit.a, basis), limitOf(limit.b, basis)];
  if (typeof a === "string") return a;
  if (typeof b === "string") return b;
  return (a.compare(b) <= 0) === (limit.kind === "smaller") ? a : b;
}

/** What the limit may depend on. */
function basisOf(series, table, trial) {
  const last = standing(series, trial);
  return {
    sample: asksForSample(table.rule.limit) ? sampleTaken(table, trial) : null,
    net: netMass(series, table, trial),
    gross: last && last.value.multiply(table.unit),
    interval: last && scaleInterval(last, table),
  };
}

function asksForSample(limit) {
  return limit.kind === "per sample" || (limit.a ? asksForSample(limit.a) || asksForSample(limit.b) : false);
}

/** Whether a load is weighed more than once, or after a treatment: only then there is a verdict. */
function isRepeated(series, table) {
  const twice = table.trials.some((_, trial) => series.lines.filter((line) => line.cells[trial]).length > 1);
  return twice || series.lines.some((line) => line.treatment);
}

/**
 * The verdict on one trial's series: { verdict, at, why }. `reached` means that the last two weighings agree, and `at` is the first
 * weighing from which all later changes hold. An event between two weighings starts a new stage, and only the last one counts.
 */
function judge(series, table, trial) {
  const { rule } = table;
  const cells = series.lines.map((line) => line.cells[trial]);
  const last = cells.findLastIndex(Boolean);
  if (last < 0 || rule.limit.kind === "fixed time") return { verdict: "none" };
  const stage = Math.max(0, series.lines.slice(0, last + 1).findLastIndex((line) => line.event));
  const change = changeAt(cells, last, table);
  if (!change || last <= stage) return { verdict: "not shown", why: whyNotShown(cells, last, stage) };
  const basis = basisOf(series, table, trial);
  const limit = limitOf(rule.limit, basis);
  if (typeof limit === "string") return { verdict: "cannot be judged", why: limit };
  if (basis.interval && limit.compare(basis.interval) < 0) {
    return { verdict: "cannot be judged", why: "the limit is below one scale interval of the balance" };
  }
  const holds = (change) => change && change.magnitude().compare(limit) < (rule.strict ? 0 : 1);
  if (!holds(change)) return { verdict: "not reached" };
  let at = last;
  while (at - 1 > stage && holds(changeAt(cells, at - 1, table))) at -= 1;
  return { verdict: "reached", at: at + 1 };
}

/** The change from the weighing before, in kilograms; null at the first one and at a gap. */
function changeAt(cells, at, table) {
  const [before, now] = [cells[at - 1], cells[at]];
  return before && now ? now.value.subtract(before.value).multiply(table.unit) : null;
}

function whyNotShown(cells, last, stage) {
  if (!cells.slice(0, last).some(Boolean)) return "weighed once only";
  return last <= stage ? "weighed once only since the last event" : "a reading is missing between the last two weighings";
}
