// What is said of a reading while the crucible is still there. Nothing is put right by itself, and no digit is guessed.

const MILLIGRAM = new Fraction(1n, 1000000n);

/** A mass in milligrams, with the decimals that its readings have, but no more zeros than it needs. */
function milligrams(mass) {
  const text = mass.magnitude().divide(MILLIGRAM).toFixed(3).replace(/\.?0+$/, "");
  return text === "" ? "0" : text;
}

/** What a line is called after its load: `the last heating`, `the weighing before`. */
function named(line) {
  return line.treatment ? `${line.treatment} ${line.number}` : "the weighing before";
}

/**
 * Everything to be said of the reading in a line and trial: [[kind, text]], kind `bad`, `look` or `good`. `typed` is what stands in the
 * field, `mark` the decimal mark.
 */
function remarksOn(table, index, trial, typed, mark) {
  const line = table.lines[index];
  if (typed.trim() === "") return [];
  const cell = readNumber(typed, mark);
  if (!cell) return [["bad", `“${typed.trim()}” is no reading; write the digits of the display, such as ${mark === "," ? "18,2749" : "18.2749"}`]];
  const series = seriesOf(table).find((series) => series.lines.some((other) => other.index === index));
  // As if it were the last weighing of its load.
  const later = series.lines.map((other) => other.index).filter((other) => other > index);
  const now = { ...table, lines: table.lines.filter((_, at) => !later.includes(at)) };
  return [
    ...decimalsOf(cell, table), ...signOf(cell), ...changeOf(series, table, index, trial),
    ...netOf(series, now, trial), ...sizeOf(line, now, trial), ...verdictOf(series, table, index, trial),
  ];
}

/** Fewer or more decimals than the balance gives. */
function decimalsOf(cell, table) {
  if (!table.readability) return [];
  const order = new Fraction(1n, 10n ** BigInt(cell.decimals)).multiply(table.unit).compare(leadingPower(table.readability));
  if (order === 0) return [];
  const what = order < 0 ? "more decimals than the balance gives: check the reading" : "fewer decimals than the balance gives: write every digit of the display, zeros at the end included";
  return [["look", what]];
}

/** The power of ten of the first digit of a number. */
function leadingPower(number) {
  let power = new Fraction(1n);
  const ten = new Fraction(10n);
  while (power.compare(number) > 0) power = power.divide(ten);
  while (power.multiply(ten).compare(number) <= 0) power = power.multiply(ten);
  return power;
}

function signOf(cell) {
  return cell.value.numerator < 0n ? [["look", "a reading below zero: was the balance at zero before?"]] : [];
}

/**
 * The change from the weighing before. “Look at the display again” where a load that was only heated became heavier than the rule allows,
 * or changed by more than ten times what it allows and three times as much as the change before or the other trials' (choices of
 * this program, not of a standard).
 */
function changeOf(series, table, index, trial) {
  const at = series.lines.findIndex((line) => line.index === index);
  const before = series.lines.slice(0, at).findLastIndex((line) => line.cells[trial]);
  if (before < 0) return [];
  const between = series.lines.slice(before + 1, at + 1).some((line) => line.event);
  const change = series.lines[at].cells[trial].value.subtract(series.lines[before].cells[trial].value).multiply(table.unit);
  const than = named(series.lines[before]);
  if (change.isZero()) return [["", `the same as ${than}`]];
  const said = `${milligrams(change)} mg ${change.numerator < 0n ? "below" : "above"} ${than}`;
  if (between || !looksWrong(series, table, at, trial, change)) return [["", said]];
  return [["look", `${said}: look at the display again while it is still on the pan`]];
}

function looksWrong(series, table, at, trial, change) {
  const limit = limitOf(table.rule.limit, basisOf(series, table, trial));
  if (typeof limit === "string") return false;
  if (series.lines[at].treatment && change.compare(limit) > 0) return true;
  const size = change.magnitude();
  const own = changesBefore(series, table, at, trial).at(-1);
  const others = table.trials.map((_, other) => (other === trial ? null : changeAt(series.lines.map((line) => line.cells[other]), at, table)));
  const compared = [own, ...others].filter(Boolean).map((other) => other.magnitude());
  const exceeds = (times, other) => size.compare(new Fraction(times).multiply(other)) > 0;
  return compared.length > 0 && exceeds(10n, limit) && compared.every((other) => exceeds(3n, other));
}

function changesBefore(series, table, at, trial) {
  const cells = series.lines.map((line) => line.cells[trial]);
  return cells.slice(0, at).map((_, index) => (series.lines[index].event ? null : changeAt(cells, index, table))).filter(Boolean);
}

/** A load that weighs less than what it stands in. */
function netOf(series, table, trial) {
  const net = netMass(series, table, trial);
  return net && net.numerator < 0n ? [["bad", `below zero without its vessel (−${milligrams(net)} mg): is this the right load, vessel and trial?`]] : [];
}

/** A sample far from the usual size. */
function sizeOf(line, table, trial) {
  return (table.samples ?? []).flatMap(({ thing, low, high, words }) => {
    if (!line.things.includes(thing)) return [];
    const mass = massOf([thing], table, trial);
    if (!mass || (mass.compare(Fraction.of(low)) >= 0 && mass.compare(Fraction.of(high)) <= 0)) return [];
    return [["look", `m(${thing}) = ${mass.divide(table.unit).toFixed(4)} ${table.unitName} is not of the usual size (${words})`]];
  });
}

/** Constant mass as soon as it is reached, and until then that it is not. */
function verdictOf(series, table, index, trial) {
  const last = series.lines.findLast((line) => line.cells[trial]);
  if (!isRepeated(series, table) || !last || last.index !== index) return [];
  const { verdict, at, why } = judge(series, table, trial);
  if (verdict === "reached") return [["good", `constant mass reached (${named(series.lines[at - 1])})`]];
  if (verdict === "not reached") return [["", "constant mass not reached: heat, cool and weigh again"]];
  if (verdict === "cannot be judged") return [["look", `constant mass cannot be judged: ${why}`]];
  return why?.includes("event") ? [["", `${why}: constant mass shows when it is weighed again`]] : [];
}
