// The lines of readings as a notebook writes them, from what was typed.
//
// A line is { label, done, cells }, `done` what was done before its weighing besides its treatment; or { eventText }. A cell is
// { typed, struck, reason }.

/** A text on one line, blanks folded. */
const oneLine = (text) => text.replace(/[\s\u0000-\u001f\u007f-\u009f]+/gu, " ").trim();

/** The lines with an event before each for which something was done. */
function withEvents(lines) {
  return lines.flatMap((line) => {
    const done = oneLine(line.done ?? "");
    return done ? [{ eventText: done }, line] : [line];
  });
}

/** A cell as a notebook writes it: struck readings, the reading or a dash, the reason. */
function cellText(cell, mark) {
  const reading = readNumber(cell.typed, mark)?.text ?? "–";
  const reason = oneLine(cell.reason.replace(/[[\]]+/g, " "));
  return [...cell.struck.map((text) => `~~${readNumber(text, mark)?.text ?? text}~~`), reading, cell.struck.length ? `[${reason}]` : null].filter(Boolean).join(" ");
}

/** The line of the trials, the loads with their cells in columns, and events between them. */
function massesText(lines, trials, mark) {
  const loads = withEvents(lines).map((line) => (line.eventText ? [`event: ${line.eventText}`] : [`${line.label}:`, ...line.cells.map((cell) => cellText(cell, mark))]));
  const rows = [["trial:", ...trials], ...loads];
  const width = (column) => Math.max(...rows.filter((row) => row.length > 1).map((row) => (row[column] ?? "").length)) + 2;
  return rows.map((row) => row.map((cell, column) => (column < row.length - 1 ? cell.padEnd(width(column)) : cell)).join("") + "\n").join("");
}
