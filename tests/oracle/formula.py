"""Counts the atoms of a chemical formula: brackets, and hydrate parts after `·`, `.` or `*`."""
import re
from fractions import Fraction


def composition(text):
    text = re.sub(r"([·*.])\s*0\.5", r"\1½", text.strip())
    counts = {}
    for index, part in enumerate(re.split(r"[·*.]", text)):
        times, rest = Fraction(1), part.strip()
        lead = re.match(r"(\d+|½)", rest) if index else None
        if lead:
            times = Fraction(1, 2) if lead.group() == "½" else Fraction(lead.group())
            rest = rest[lead.end():]
        for element, n in atoms(rest).items():
            counts[element] = counts.get(element, 0) + times * n
    return counts


def atoms(text):
    stack = [{}]
    for token in re.finditer(r"([A-Z][a-z]?)(\d*)|(\()|(\))(\d*)", text):
        element, number, opening, closing, times = token.groups()
        if element:
            stack[-1][element] = stack[-1].get(element, 0) + int(number or 1)
        elif opening:
            stack.append({})
        elif closing:
            group = stack.pop()
            for e, n in group.items():
                stack[-1][e] = stack[-1].get(e, 0) + n * int(times or 1)
    if len(stack) != 1:
        raise ValueError(f"unbalanced brackets in {text}")
    return stack[0]
