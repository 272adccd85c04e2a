"""Weights of the readings of reference marks, from drawn stills.

    for seed in 9 10 11 12 13 41 42 43 44 45 46; do cargo bench --bench mark_readings -- both $seed 150; done > readings.jsonl
    for seed in 21 22 23 24 51 53; do cargo bench --bench mark_readings -- lens-only $seed 150; done >> readings.jsonl
    python fit.py readings.jsonl

A conditional logit (McFadden 1974): in each still one reading is right, or that there are no marks, whose utility is 0.
Prints the weights for `src/vision/reference_marks/weights.rs`, and, with each third of the stills judged by weights
from the other two, how many stills are read at several least probabilities, and how many wrongly.
"""

import json
import sys

import numpy as np
from scipy.optimize import minimize

# Pulls the weights to 0 where the stills do not say: variance of a weight, of a term of sd 1, is 1 / (RIDGE x stills).
RIDGE = 0.003
LEAST_SPREAD = 0.3
SAME_AXIS_DEG = 3.0
TRAITS = 23
TERMS = 1 + TRAITS + 8


def read(path):
    stills = []
    for line in open(path):
        if not line.startswith("{"):
            continue
        still = json.loads(line)
        terms = np.array(still["terms"], float).reshape(-1, TERMS)
        right = np.array(still["right"], bool)
        if right.any():
            # The number of marks comes first: of several right readings the fullest is meant.
            right &= terms[:, 0] == terms[right, 0].max()
        stills.append((still["still"], still["marks"] > 0, terms, right, np.array(still["zero_deg"])))
    return stills


def fit(stills):
    # What hardly ever occurs must not be weighed on the few stills that have it.
    spread = np.maximum(np.concatenate([terms for _, _, terms, _, _ in stills if len(terms)]).std(axis=0), LEAST_SPREAD)

    def loss(weights):
        value, slope = 0.0, np.zeros(TERMS)
        for _, marked, terms, right, _ in stills:
            if not len(terms) or marked and not right.any():
                continue
            utility = terms @ weights
            top = max(utility.max(), 0.0)
            odds = np.exp(utility - top)
            whole = odds.sum() + np.exp(-top)
            slope += terms.T @ odds / whole
            if marked:
                value -= np.log(odds[right].sum() / whole)
                slope -= terms[right].T @ odds[right] / odds[right].sum()
            else:
                value -= -top - np.log(whole)
        pull = RIDGE * len(stills) * spread**2
        return value + pull * weights @ weights / 2, slope + pull * weights

    return minimize(loss, np.zeros(TERMS), jac=True, method="L-BFGS-B", options={"maxiter": 1000}).x


def judged(stills, weights):
    for name, marked, terms, right, zero in stills:
        if not len(terms):
            yield name, marked, 0.0, False
            continue
        utility = terms @ weights
        top = max(utility.max(), 0.0)
        odds = np.exp(utility - top)
        best = utility.argmax()
        apart = np.abs((2 * (zero - zero[best]) + 180) % 360 - 180) / 2
        probability = odds[apart <= SAME_AXIS_DEG].sum() / (odds.sum() + np.exp(-top))
        # A part of the right set gives the right axis too.
        sound = right.any() and apart[right].min() <= SAME_AXIS_DEG
        yield name, marked, probability, bool(sound)


def main():
    stills = read(sys.argv[1])
    verdicts = []
    for part in range(3):
        held_out = [s for i, s in enumerate(stills) if i % 3 == part]
        weights = fit([s for i, s in enumerate(stills) if i % 3 != part])
        verdicts += judged(held_out, weights)
    marked = sum(v[1] for v in verdicts)
    print(f"{marked} stills with marks, {len(verdicts) - marked} without; held out by thirds:")
    for least in (0.5, 0.6, 0.7, 0.75, 0.8, 0.9, 0.95):
        read_right = sum(m and p >= least and s for _, m, p, s in verdicts)
        wrong = [n for n, m, p, s in verdicts if m and p >= least and not s]
        invented = [n for n, m, p, _ in verdicts if not m and p >= least]
        print(f"  {least:.2f}: read {read_right / marked:.3f}, wrong {len(wrong)}, invented {len(invented)}", wrong, invented)
    weights = fit(stills)
    named = lambda values: ", ".join(f"{v:.2f}" for v in values)
    print(f"MARK   {weights[0]:.2f}\nTRAITS {named(weights[1:1 + TRAITS])}\nSET    {named(weights[1 + TRAITS:])}")


main()
