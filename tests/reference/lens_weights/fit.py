"""Weights of the readings of lens marks, from drawn stills.

    python fit.py readings.jsonl > network_weights.rs && rustfmt network_weights.rs

with the readings that `tests/reference/readings.sh` prints. The weights in use are older, of usual marks alone, as `cargo bench --bench readings`
was asked for them with k from 1 to 6: both 71k0 450 hard, both 71k1 300 mixed, reference-only 71k2 130 hard, reference-only 71k3 160 mixed; none
7190 150 hard, both 7191 200 easy. DEVELOPERS.md tells why.

A conditional logit (McFadden 1974): in each still those readings are right that have the right axis, or it is right that there
are no marks, whose utility is 0. The utility of a reading is what a network of one hidden layer makes of its terms. Prints the weights for
`src/vision/lens_marks`; with --held-out, instead: with each third of the stills judged by weights from the other two, how many
stills are read at several least probabilities, and how many wrongly.
"""

import json
import pathlib
import sys

import numpy as np
import torch

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent))
from network import Net, as_rust, log_sum, trained, usual  # noqa: E402

TERMS = 45  # terms.rs
LEAST_SPREAD = 0.05
# Units and networks (their mean is one network of NETS x UNITS units); pull of the weights to 0; sd of the noise that
# every term gets anew at each step, so that none decides alone; steps.
UNITS, NETS, DECAY, NOISE, STEPS = 16, 2, 3e-4, 0.3, 500
# A reading nearer to the true axis than the first is right (a group by itself has less to tell its direction by), one farther
# off than the second is wrong; between them nothing is said.
RIGHT_DEG = {2: 1.5, 1: 3.0}
WRONG_DEG = {2: 2.5, 1: 4.5}
SAME_AXIS_DEG = 2.0
# Of stills of which the marks on the lens are drawn in the brightest of colours one in so many of them is used. They are rare
# on lenses, while glints on the edge and the haptics of a lens come in pairs, too.
BRIGHTEST, ONE_IN = 700.0, 4
# Set by hand, as in readings.rs: how much other clear spots beside two lone dots count against them. Drawn stills have too few
# to weigh what everyone would refuse.
OTHER_SPOTS, SPOTS_AGAINST = 19, 4.0


def axis_difference(a, b):
    return np.abs((a - b + 90) % 180 - 90)


class Still:
    def __init__(self, line):
        still = json.loads(line)
        lens = still["lens"]
        self.name = still["still"]
        brightest = lens["lens_deg"] is not None and sum(lens["colour"]) > BRIGHTEST
        self.used = not brightest or int(self.name.split("/")[1]) % ONE_IN == 0
        self.terms = np.array(lens["terms"], np.float32).reshape(-1, TERMS)
        self.axis = np.array(lens["axis_deg"], float)
        self.marked = lens["lens_deg"] is not None
        self.off = axis_difference(self.axis, lens["lens_deg"]) if self.marked else np.full(len(self.axis), 90.0)
        groups = np.array(lens["groups"], int)
        limit = lambda degrees: np.where(groups == 2, degrees[2], degrees[1])
        self.right = self.off < limit(RIGHT_DEG)
        self.said = self.right | (self.off > limit(WRONG_DEG))
        if (self.right & (groups == 2)).any():
            # Where both groups are read, one of them by itself is not what is meant, and not wrong either.
            self.said &= ~(self.right & (groups == 1))
            self.right &= groups == 2


class Batch:
    """The readings of stills as tensors; only those of which something is said, unless `all_of_them`."""

    def __init__(self, stills, mean, spread, all_of_them=False):
        kept = [np.full(len(s.said), True) if all_of_them else s.said for s in stills]
        terms = np.concatenate([s.terms[k] for s, k in zip(stills, kept)])
        self.held = torch.tensor(-SPOTS_AGAINST * terms[:, OTHER_SPOTS]).float()
        self.terms = usual(terms, mean, spread)
        self.right = torch.tensor(np.concatenate([s.right[k] for s, k in zip(stills, kept)]))
        self.still_of = torch.tensor(np.concatenate([np.full(k.sum(), i) for i, k in enumerate(kept)]))
        self.count = len(stills)
        self.marked = torch.tensor([s.marked for s in stills])
        self.used = ~self.marked | torch.tensor([bool(s.right.any()) for s in stills])

    def loss(self, net, noise):
        utility = net(self.terms + noise * torch.randn_like(self.terms)) + self.held
        whole = log_sum(utility, self.still_of, self.count, True)
        right = log_sum(utility[self.right], self.still_of[self.right], self.count, False)
        return torch.where(self.marked, whole - right, whole)[self.used].mean()


def fitted(batch):
    return [trained(lambda: Net(TERMS, UNITS), seed, lambda net: batch.loss(net, NOISE), DECAY, STEPS) for seed in range(NETS)]


def judged(stills, mean, spread, nets):
    batch = Batch(stills, mean, spread, all_of_them=True)
    with torch.no_grad():
        utilities = (sum(net(batch.terms) for net in nets) / len(nets) + batch.held).double().numpy()
    at = 0
    for s in stills:
        utility = utilities[at:at + len(s.terms)]
        at += len(utility)
        if not len(utility):
            yield s.name, s.marked, 0.0, False
            continue
        top = max(utility.max(), 0.0)
        odds = np.exp(utility - top)
        best = utility.argmax()
        same = axis_difference(s.axis, s.axis[best]) <= SAME_AXIS_DEG
        yield s.name, s.marked, odds[same].sum() / (odds.sum() + np.exp(-top)), s.off[best] < 3.0


def held_out(stills, mean, spread):
    verdicts = []
    for part in range(3):
        rest = Batch([s for i, s in enumerate(stills) if i % 3 != part], mean, spread)
        verdicts += judged([s for i, s in enumerate(stills) if i % 3 == part], mean, spread, fitted(rest))
    marked = sum(v[1] for v in verdicts)
    print(f"{marked} stills with marks, {len(verdicts) - marked} without; held out by thirds:")
    for least in (0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.95, 0.98, 0.99):
        read_right = sum(m and p >= least and s for _, m, p, s in verdicts)
        wrong = [n for n, m, p, s in verdicts if m and p >= least and not s]
        invented = [n for n, m, p, _ in verdicts if not m and p >= least]
        print(f"  {least:.2f}: read {read_right / marked:.3f}, wrong {len(wrong)}, invented {len(invented)}", wrong, invented)


def main():
    stills = [still for line in open(sys.argv[-1]) if line.startswith("{") and (still := Still(line)).used]
    terms = np.concatenate([s.terms for s in stills])
    mean, spread = terms.mean(axis=0), np.maximum(terms.std(axis=0), LEAST_SPREAD)
    if "--held-out" in sys.argv:
        return held_out(stills, mean, spread)
    print(f"""//! Weights of what speaks for and against a reading of the lens marks, natural logarithms of odds.
//!
//! Written by `tests/reference/lens_weights/fit.py` from {len(stills)} drawn stills, {sum(s.marked for s in stills)} of them with marks on the lens: not
//! to be edited by hand. No frame of a real operation was used.

use super::terms::TERMS;
use crate::vision::network::Network;

/// Of a reading by its terms.""")
    nets = fitted(Batch(stills, mean, spread))
    print(as_rust(f"pub(super) static NETWORK: Network<TERMS, {NETS * UNITS}>", nets, mean, spread))


if __name__ == "__main__":
    main()
