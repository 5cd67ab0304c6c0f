//! Which explanation stands out, against the others and against chance.
//!
//! A claimed value of four figures has some slip within reach almost whatever it is, so fitting is not enough.
//! Two numbers are compared for each explanation: how likely it gives just this value (its family's share of all
//! slips, over how many such slips were possible here), and how likely an error of no known kind does. For the
//! second, the size of a relative error is taken as log-uniform, so that a value k places away is met with a
//! probability in proportion to 1/k: a slip that moves a value by thousands of places is met by chance hardly ever,
//! one that moves it by ten is. By Markov's inequality an explanation that has to be `NAMED` times likelier than
//! chance is named by chance in less than one of `NAMED` cases.

use super::super::derivation::Derivation;
use super::super::region::{Change, From, Region};
use super::candidates::{Family, Fit, Told};
use crate::quantity::Number;
use std::collections::BTreeMap;

/// How much likelier than chance the explanation that is named has to be.
const NAMED: f64 = 2.0;
/// How much likelier than all explanations of other kinds together.
const CLEAR: f64 = 3.0;
/// How much likelier than the next one of its own kind.
const DISTINCT: f64 = 1.5;
/// Errors of no known kind: the share of a range of relative sizes, log-uniform within it. Most are of 0.1 to 50 %.
const SIZES: [(f64, f64, f64); 3] = [(0.07, 1e-5, 1e-3), (0.85, 1e-3, 0.5), (0.08, 0.5, 1e5)];
/// How often an error of no known kind is the same in every trial, where there are several.
const IN_EVERY_TRIAL: f64 = 0.3;
/// How much less likely a deed at the balance is done the same way in one more trial.
const DONE_AGAIN: f64 = 0.2;

/// An explanation with its weight.
#[derive(Clone, Debug)]
pub(in crate::review) struct Weighed {
    pub(in crate::review) fit: Fit,
    /// How much likelier than chance.
    pub(in crate::review) odds: f64,
    /// The other claims it gives.
    pub(in crate::review) supports: Vec<usize>,
    /// Likely enough to be mentioned.
    pub(in crate::review) worth_saying: bool,
}

/// What was found for a claim, the likeliest first.
#[derive(Clone, Debug, Default)]
pub(in crate::review) struct WeighedClaim {
    pub(in crate::review) found: Vec<Weighed>,
    pub(in crate::review) stands_out: bool,
    /// An earlier claim with the same slip.
    pub(in crate::review) same_as: Option<usize>,
}

/// Weighs the fits of every region.
pub(in crate::review) fn weigh(
    derivation: &Derivation,
    regions: &[Region],
    fits: &[Vec<Fit>],
) -> Vec<WeighedClaim> {
    let scale = Scale::of(derivation, regions, fits);
    let mut weighed: Vec<WeighedClaim> = (0..regions.len()).map(|at| scale.claim(at)).collect();
    scale.share_slips(&mut weighed);
    weighed
}

struct Scale<'a, 'r> {
    derivation: &'a Derivation<'r>,
    regions: &'a [Region<'r>],
    fits: &'a [Vec<Fit>],
    /// Per region, how likely chance gives its value.
    chance: Vec<f64>,
}

impl<'a, 'r> Scale<'a, 'r> {
    fn of(derivation: &'a Derivation<'r>, regions: &'a [Region<'r>], fits: &'a [Vec<Fit>]) -> Self {
        let chance = regions.iter().map(|region| chance(derivation, region)).collect();
        Scale { derivation, regions, fits, chance }
    }

    fn claim(&self, at: usize) -> WeighedClaim {
        let mut found: Vec<Weighed> = self.fits[at].iter().map(|fit| self.weighed(at, fit)).collect();
        found.sort_by(|a, b| b.odds.total_cmp(&a.odds));
        let stands_out = stands_out(&found);
        WeighedClaim { found, stands_out, same_as: None }
    }

    /// One slip that explains several claims is likelier than one for each: those that explain the most go first, and
    /// the claims they give too are told to have the same slip.
    fn share_slips(&self, weighed: &mut [WeighedClaim]) {
        let mut order: Vec<usize> = (0..weighed.len()).filter(|at| weighed[*at].stands_out).collect();
        let lines = |at: &usize| {
            let best = &weighed[*at].found[0];
            let lines: std::collections::BTreeSet<&str> = best
                .supports
                .iter()
                .map(|claim| self.derivation.results.claims[*claim].of.as_str())
                .collect();
            std::cmp::Reverse(lines.len())
        };
        order.sort_by_key(|at| (lines(at), self.regions[*at].claim));
        let mut settled = vec![false; weighed.len()];
        for at in order {
            if settled[at] {
                continue;
            }
            settled[at] = true;
            let best = weighed[at].found[0].clone();
            let first = self.regions[at].claim;
            for other in 0..weighed.len() {
                if !settled[other] && best.supports.contains(&self.regions[other].claim) {
                    settled[other] = self.adopt(&mut weighed[other], &best, first);
                }
            }
        }
    }

    /// Takes over another claim's explanation, where it is among one's own.
    fn adopt(&self, claim: &mut WeighedClaim, best: &Weighed, first: usize) -> bool {
        let (kind, key) = (best.fit.candidate.family.kind(), self.key(&best.fit.candidate.told));
        let same = |own: &Weighed| {
            own.fit.candidate.family.kind() == kind && self.key(&own.fit.candidate.told) == key
        };
        let Some(at) = claim.found.iter().position(same) else { return false };
        claim.found[..=at].rotate_right(1);
        claim.stands_out = true;
        claim.same_as = Some(first);
        true
    }

    fn weighed(&self, at: usize, fit: &Fit) -> Weighed {
        let key = self.key(&fit.candidate.told);
        let mut odds = fit.share;
        let mut supports = Vec::new();
        let mut supported = false;
        // Claims of one line in several trials may share an error of no known kind too, so they count once, by
        // the one that chance meets least. Claims of different lines count each, if no value between explains both.
        let own_line = self.line(at);
        let mut trials = 1;
        // How much likelier than chance each trial of the line is.
        let mut in_line = vec![self.likelihood(at, fit)];
        let mut by_line: BTreeMap<&str, f64> = BTreeMap::new();
        by_line.insert(own_line, self.likelihood(at, fit));
        for (other, fits) in self.fits.iter().enumerate().filter(|(other, _)| *other != at) {
            let Some(same) = fits.iter().find(|same| {
                same.candidate.family.kind() == fit.candidate.family.kind()
                    && self.key(&same.candidate.told) == key
            }) else {
                continue;
            };
            let line = self.line(other);
            supports.push(self.regions[other].claim);
            trials += usize::from(line == own_line);
            if line != own_line && !self.same_slip(fit, same) {
                continue;
            }
            if line != own_line {
                if !self.independent(at, fit, other, same) {
                    continue;
                }
                supported = true;
            }
            let likelihood = self.likelihood(other, same);
            if line == own_line {
                in_line.push(likelihood);
            }
            let best = by_line.entry(line).or_insert(likelihood);
            *best = best.max(likelihood);
        }
        odds *= by_line.values().product::<f64>();
        let in_every_trial = trials > 1 && trials == self.claims_of_line(own_line);
        if fit.candidate.family == Family::OtherHeating && in_every_trial {
            // The weighing after another heating in every trial is one misunderstanding.
            let most = in_line.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
            odds *= DONE_AGAIN * in_line.iter().product::<f64>() / most;
        } else if fit.candidate.family.is_single() {
            odds *= DONE_AGAIN.powi(trials as i32 - 1);
        } else if in_every_trial {
            odds /= IN_EVERY_TRIAL;
        }
        if fit.candidate.family == Family::Misread && !supported {
            // Misread digits alone are within reach of every value (see the module's head).
            odds = odds.min(1.0);
        }
        Weighed { fit: fit.clone(), odds, supports, worth_saying: odds > 1.0 }
    }

    /// Whether two fits are one deed, and not the same deed in two trials.
    fn same_slip(&self, a: &Fit, b: &Fit) -> bool {
        match (&a.candidate.told, &b.candidate.told) {
            (Told::Reading(a, _), Told::Reading(b, _)) => a == b,
            (Told::Instead(a, c), Told::Instead(b, d)) => a == b && c == d,
            _ => true,
        }
    }

    fn claims_of_line(&self, line: &str) -> usize {
        self.derivation.results.claims.iter().filter(|claim| claim.of == line).count()
    }

    fn line(&self, at: usize) -> &str {
        &self.derivation.results.claims[self.regions[at].claim].of
    }

    /// How much likelier the explanation gives the value than chance does.
    fn likelihood(&self, at: usize, fit: &Fit) -> f64 {
        let by_rounding = match fit.off.abs() <= fit.slack {
            true => 0.8 / (2 * fit.slack + 1) as f64,
            false => 0.1,
        };
        let by_start = match fit.from {
            From::Recomputed | From::Differing => 0.6,
            From::Claimed => 0.3,
            From::Rounded(_) => 0.15,
        };
        by_rounding * by_start / self.chance[at]
    }

    /// Whether no single value between the slip and the two claims explains both by itself: else an error of no
    /// known kind in that value would give both claims too.
    fn independent(&self, at: usize, fit: &Fit, other: usize, same: &Fit) -> bool {
        let (a, b) = (&self.regions[at], &self.regions[other]);
        let edited = |region: &Region, fit: &Fit| {
            region.floats(&region.base(self.derivation, fit.from), fit.from, &fit.candidate.edit)
        };
        let (in_a, base_b) = (edited(a, fit), b.base(self.derivation, same.from));
        let base_a = a.base(self.derivation, fit.from);
        let touched = |at: usize| fit.candidate.edit.iter().any(|(place, _)| *place == at);
        let leaf_edit = |at: usize| touched(at) && a.nodes[at].inputs.is_empty();
        !a.nodes.iter().enumerate().any(|(place, local)| {
            if local.by_hand || leaf_edit(place) || in_a[place] == base_a[place] {
                return false;
            }
            let Some(there) = b.nodes.iter().position(|other| other.node == local.node && !other.by_hand)
            else {
                return false;
            };
            let Some(value) = number_near(in_a[place]) else { return false };
            let gives = |region: &Region, base: &[f64], from: From, place: usize| {
                let values = region.floats(base, from, &[(place, Change::Becomes(value.clone()))]);
                region.float_steps(values.last().copied().unwrap_or(f64::NAN)).abs() < 1.6
            };
            gives(a, &base_a, fit.from, place) && gives(b, &base_b, same.from, there)
        })
    }

    /// The same for the same deed in another trial.
    fn key(&self, told: &Told) -> String {
        let node = |node: &crate::quantity::derivation::NodeId| match self.derivation.written.get(node) {
            Some(written) => written.label.clone(),
            None => {
                let name = self.derivation.name(*node).map(|name| name.symbol.clone());
                let span = self.derivation.results.graph.node(*node).span;
                format!("{name:?}{span:?}")
            }
        };
        match told {
            // A digit is misread once.
            Told::Reading(reading, text) => format!("{reading:?} {text}"),
            Told::Instead(reading, other) => format!("{} for {}", node(other), node(reading)),
            Told::At(at, input) => format!("{} {input}", node(at)),
            Told::Formula(at, text) => format!("{} {text}", node(at)),
            Told::Divisor(at, other) => format!("{} by {}", node(at), node(other)),
            Told::Value(user, own, other) => format!("{} {} by {}", node(user), node(own), node(other)),
            Told::LeftOut(at) | Told::NoMolarMasses(at) => node(at),
            Told::Rounded(weights, decimals, at) => {
                format!("{weights} {decimals} {:?}", at.as_ref().map(node))
            }
            Told::Power(at, power) => format!("{} {power}", node(at)),
            Told::Copied => "copied".to_string(),
        }
    }
}

/// A float as a number, to 15 figures.
fn number_near(value: f64) -> Option<Number> {
    let text = format!("{value:.15e}");
    Some(crate::quantity::Decimal::parse(&text, false).ok()?.to_number())
}

/// How likely an error of no known kind gives just the claimed value.
fn chance(derivation: &Derivation, region: &Region) -> f64 {
    let starts = region.starts(derivation);
    let from = if starts.contains(&From::Differing) { From::Differing } else { From::Recomputed };
    let base = region.base(derivation, from);
    let expected = base.last().copied().unwrap_or(f64::NAN);
    let steps = region.float_steps(expected).abs().max(1.0);
    let place = 10f64.powi(region.comparison.claimed.place());
    let size = (expected / region.comparison.unit.factor().to_f64()).abs() / place;
    let relative = if size > 0.0 { steps / size } else { f64::MAX };
    let [small, usual, large] = SIZES;
    let (share, least, most) = match relative {
        relative if relative < small.2 => small,
        relative if relative <= usual.2 => usual,
        _ => large,
    };
    let density = share / (2.0 * (most / least).ln() * steps);
    if region.comparison.by_magnitude { 2.0 * density } else { density }
}

fn stands_out(found: &[Weighed]) -> bool {
    let Some(best) = found.first() else { return false };
    let kind = |weighed: &Weighed| weighed.fit.candidate.family.kind();
    let others: f64 = found.iter().filter(|other| kind(other) != kind(best)).map(|other| other.odds).sum();
    let next = found.iter().skip(1).find(|other| kind(other) == kind(best));
    // Where one kind of slip gives the value at two places, the kind still stands out; which reading it was does not.
    let alike = |next: &Weighed| !next.fit.candidate.family.is_single();
    let distinct = next.is_none_or(|next| best.odds >= DISTINCT * next.odds || alike(next));
    best.odds >= NAMED && best.odds >= CLEAR * others && distinct
}
