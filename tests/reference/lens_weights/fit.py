"""Weights of the readings of lens marks, from drawn stills.

    for seed in $(seq 1001 1012); do cargo bench --bench lens_readings -- both $seed 150; done > readings.jsonl
    for seed in $(seq 1021 1027); do cargo bench --bench lens_readings -- reference-only $seed 150; done >> readings.jsonl
    cargo bench --bench lens_readings -- none 1031 150 >> readings.jsonl
    python fit.py readings.jsonl

A conditional logit (McFadden 1974): in each still those readings are right that have the right axis, or it is right that there
are no marks, whose utility is 0. Prints the weights for `src/vision/lens_marks/weights.rs`, and, with each third of the stills
judged by weights from the other two, how many stills are read at several least probabilities, and how many wrongly.
"""

import json
import sys

import numpy as np
from scipy.optimize import minimize

# Pulls the weights to 0 where the stills do not say: variance of a weight, of a term of sd 1, is 1 / (RIDGE x stills).
RIDGE = 0.003
LEAST_SPREAD = 0.1
# A reading nearer to the true axis than the first is right (a group by itself has less to tell its direction by), one farther
# off than the second is wrong; between them nothing is said.
RIGHT_DEG = {2: 1.5, 1: 3.0}
WRONG_DEG = {2: 2.5, 1: 4.5}
SAME_AXIS_DEG = 2.0
TERMS = 43
# Set by hand: other clear spots beside two lone dots. Drawn stills have too few to weigh what everyone would refuse.
HELD = {19: -4.0}


def axis_difference(a, b):
    return np.abs((a - b + 90) % 180 - 90)


class Still:
    def __init__(self, line):
        still = json.loads(line)
        self.name = still["still"]
        self.terms = np.array(still["terms"], float).reshape(-1, TERMS)
        self.axis = np.array(still["axis_deg"], float)
        self.marked = still["lens_deg"] is not None
        off = axis_difference(self.axis, still["lens_deg"]) if self.marked else np.full(len(self.axis), 90.0)
        groups = np.array(still["groups"], int)
        limit = lambda degrees: np.where(groups == 2, degrees[2], degrees[1])
        self.off = off
        self.right = off < limit(RIGHT_DEG)
        self.said = self.right | (off > limit(WRONG_DEG))
        if (self.right & (groups == 2)).any():
            # Where both groups are read, one of them by itself is not what is meant, and not wrong either.
            self.said &= ~(self.right & (groups == 1))
            self.right &= groups == 2
        self.groups = groups


def fit(stills):
    # What hardly ever occurs must not be weighed on the few stills that have it.
    spread = np.maximum(np.concatenate([s.terms for s in stills if len(s.terms)]).std(axis=0), LEAST_SPREAD)

    def loss(weights):
        value, slope = 0.0, np.zeros(TERMS)
        for s in stills:
            terms, right = s.terms[s.said], s.right[s.said]
            if not len(terms) or s.marked and not right.any():
                continue
            utility = terms @ weights
            top = max(utility.max(), 0.0)
            odds = np.exp(utility - top)
            whole = odds.sum() + np.exp(-top)
            slope += terms.T @ odds / whole
            if s.marked:
                value -= np.log(odds[right].sum() / whole)
                slope -= terms[right].T @ odds[right] / odds[right].sum()
            else:
                value -= -top - np.log(whole)
        pull = RIDGE * len(stills) * spread**2
        return value + pull * weights @ weights / 2, slope + pull * weights

    bounds = [(HELD[k], HELD[k]) if k in HELD else (None, None) for k in range(TERMS)]
    start = [HELD.get(k, 0.0) for k in range(TERMS)]
    return minimize(loss, start, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 2000}).x


def judged(stills, weights):
    for s in stills:
        if not len(s.terms):
            yield s.name, s.marked, 0.0, False
            continue
        utility = s.terms @ weights
        top = max(utility.max(), 0.0)
        odds = np.exp(utility - top)
        best = utility.argmax()
        same = axis_difference(s.axis, s.axis[best]) <= SAME_AXIS_DEG
        yield s.name, s.marked, odds[same].sum() / (odds.sum() + np.exp(-top)), s.off[best] < 3.0


def main():
    stills = [Still(line) for line in open(sys.argv[1]) if line.startswith("{")]
    verdicts = []
    for part in range(3):
        weights = fit([s for i, s in enumerate(stills) if i % 3 != part])
        verdicts += judged([s for i, s in enumerate(stills) if i % 3 == part], weights)
    marked = sum(v[1] for v in verdicts)
    print(f"{marked} stills with marks, {len(verdicts) - marked} without; held out by thirds:")
    for least in (0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99):
        read_right = sum(m and p >= least and s for _, m, p, s in verdicts)
        wrong = [n for n, m, p, s in verdicts if m and p >= least and not s]
        invented = [n for n, m, p, _ in verdicts if not m and p >= least]
        print(f"  {least:.2f}: read {read_right / marked:.3f}, wrong {len(wrong)}, invented {len(invented)}", wrong, invented)
    weights = fit(stills)
    print(", ".join(f"{w:.2f}" for w in weights))


main()
