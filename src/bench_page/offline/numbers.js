// Exact numbers: fractions of whole numbers of any size. Nothing here is rounded but what is printed.

/** A fraction in lowest terms, its denominator above zero. */
class Fraction {
  constructor(numerator, denominator = 1n) {
    if (denominator < 0n) [numerator, denominator] = [-numerator, -denominator];
    const divisor = commonDivisor(numerator < 0n ? -numerator : numerator, denominator) || 1n;
    this.numerator = numerator / divisor;
    this.denominator = denominator / divisor;
  }

  /** From `"3"`, `"-1/2000"`: the form in which the page carries its limits. */
  static of(text) {
    const [numerator, denominator = "1"] = text.split("/");
    return new Fraction(BigInt(numerator), BigInt(denominator));
  }

  add(other) {
    return new Fraction(this.numerator * other.denominator + other.numerator * this.denominator, this.denominator * other.denominator);
  }

  negated() {
    return new Fraction(-this.numerator, this.denominator);
  }

  subtract(other) {
    return this.add(other.negated());
  }

  multiply(other) {
    return new Fraction(this.numerator * other.numerator, this.denominator * other.denominator);
  }

  divide(other) {
    return new Fraction(this.numerator * other.denominator, this.denominator * other.numerator);
  }

  magnitude() {
    return this.numerator < 0n ? this.negated() : this;
  }

  /** Below zero, zero or above zero, as this is smaller than, equal to or larger than the other. */
  compare(other) {
    const difference = this.numerator * other.denominator - other.numerator * this.denominator;
    return difference < 0n ? -1 : difference > 0n ? 1 : 0;
  }

  isZero() {
    return this.numerator === 0n;
  }

  /** With so many decimals, ties to the even digit (ISO 80000-1, rule A). */
  toFixed(decimals) {
    const scale = 10n ** BigInt(decimals);
    const scaled = (this.numerator < 0n ? -this.numerator : this.numerator) * scale;
    let whole = scaled / this.denominator;
    const rest = 2n * (scaled % this.denominator);
    if (rest > this.denominator || (rest === this.denominator && whole % 2n === 1n)) whole += 1n;
    const digits = whole.toString().padStart(decimals + 1, "0");
    const text = decimals ? `${digits.slice(0, -decimals)}.${digits.slice(-decimals)}` : digits;
    return this.numerator < 0n && whole > 0n ? `−${text}` : text;
  }
}

function commonDivisor(a, b) {
  while (b) [a, b] = [b, a % b];
  return a;
}

/**
 * A reading as it was typed: its value, its decimals, and its text as a notebook writes it. `null` where it is no number.
 * `mark` is the decimal mark of the notebook, `"."` or `","`.
 */
function readNumber(typed, mark) {
  const text = typed.trim().replace(/^[−–‐‑]/, "-");
  const found = /^(-?)(\d+)(?:([.,])(\d+))?$/.exec(text);
  if (!found || (found[3] && found[3] !== mark)) return null;
  const [, sign, whole, , decimals = ""] = found;
  const value = new Fraction(BigInt(sign + whole + decimals), 10n ** BigInt(decimals.length));
  return { value, decimals: decimals.length, text };
}
