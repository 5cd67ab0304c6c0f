"use strict";
// Everything that is shown goes in as text: no string of a notebook is ever read as markup.

/** An element with attributes, properties (onclick, value) and children (elements or texts). */
function make(name, given = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(given)) {
    if (value === undefined || value === false || value === null) continue;
    if (key in element && key !== "list" && key !== "form") element[key] = value;
    else element.setAttribute(key, value);
  }
  element.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== ""));
  return element;
}

const find = (selector) => document.querySelector(selector);

/** Sends an entry; the answer with its status. */
async function send(path, entry) {
  const answer = await fetch(path, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(entry),
  });
  const text = await answer.text();
  try { return { ok: answer.ok, status: answer.status, said: JSON.parse(text) }; }
  catch { return { ok: false, status: answer.status, said: { message: text } }; }
}

const MATH = "http://www.w3.org/1998/Math/MathML";
function mathElement(name, ...children) {
  const element = document.createElementNS(MATH, name);
  element.append(...children);
  return element;
}

/** A symbol such as w(water), or a number with its unit. */
function mathWord(word) {
  const number = word.match(/^([−+]?[0-9][0-9.,]*(?: ?× ?10[⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+)?)(.*)$/u);
  if (number) {
    return mathElement("mrow", mathElement("mn", number[1]), ...(number[2] ? [mathElement("mtext", number[2].replace(/^ /, "\u202f"))] : []));
  }
  const symbol = word.match(/^(mean |theory )?(\p{L}+)(\(.*\))?$/u);
  if (!symbol) return mathElement("mtext", word);
  const parts = [];
  if (symbol[1]) parts.push(mathElement("mtext", symbol[1].trim() + "\u00a0"));
  parts.push(mathElement("mi", symbol[2]));
  if (symbol[3]) parts.push(mathElement("mtext", symbol[3]));
  return mathElement("mrow", ...parts);
}

const operator = (sign) => mathElement("mo", sign);
const inBrackets = (inner) => mathElement("mrow", operator("("), inner, operator(")"));

/** A formula of the derivation as mathematics. */
function mathTree(tree) {
  const [kind, of] = Object.entries(tree)[0];
  const bracketed = (part) => ("sum" in part ? inBrackets(mathTree(part)) : mathTree(part));
  if (kind === "word") return mathWord(of);
  if (kind === "fraction") return mathElement("mfrac", mathTree(of[0]), mathTree(of[1]));
  if (kind === "power") return mathElement("msup", "word" in of[0] ? mathTree(of[0]) : inBrackets(mathTree(of[0])), mathElement("mn", of[1]));
  if (kind === "function") {
    const list = of[1].flatMap((part, index) => (index ? [operator(";"), mathTree(part)] : [mathTree(part)]));
    return mathElement("mrow", mathElement("mtext", of[0]), operator("("), ...list, operator(")"));
  }
  if (kind === "product") {
    return mathElement("mrow", ...of.flatMap((part, index) => (index ? [operator("×"), bracketed(part)] : [bracketed(part)])));
  }
  return mathElement("mrow", ...of.flatMap(([minus, part], index) => {
    const sign = minus ? [operator("−")] : index ? [operator("+")] : [];
    return [...sign, bracketed(part)];
  }));
}

/** The pieces of a formula between which a line may break: the terms of a sum, else all of it. */
function mathPieces(tree) {
  if (!("sum" in tree)) return [[mathTree(tree)]];
  return tree.sum.map(([minus, part], index) => [
    ...(minus ? [operator("−")] : index ? [operator("+")] : []),
    "sum" in part ? inBrackets(mathTree(part)) : mathTree(part),
  ]);
}

/** symbol = formula = numbers = value: mathematics that may break before an equals sign or between the terms of a sum, read out as one line. */
function mathLine(step) {
  const sides = [step.formula, step.numbers]
    .filter((side, index, all) => side && (index === 0 || JSON.stringify(side) !== JSON.stringify(all[0])))
    .flatMap((side) => mathPieces(side).map((piece, index) => (index ? piece : [operator("="), ...piece])));
  sides.push([operator("="), mathWord(step.value)]);
  sides[0].unshift(mathWord(step.symbol));
  const parts = sides.map((side) => {
    const math = mathElement("math", mathElement("mrow", ...side));
    math.setAttribute("displaystyle", "true");
    return make("span", { className: "side", "aria-hidden": "true" }, math);
  });
  return make("span", { className: "formula", role: "math", "aria-label": step.text }, parts);
}
