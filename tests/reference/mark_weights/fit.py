"""Weights of the readings of reference marks, from drawn stills.

    python fit.py readings.jsonl > network_weights.rs && rustfmt network_weights.rs

with the readings that `tests/reference/readings.sh` prints. The weights in use are older, of usual marks alone, as `cargo bench --bench readings`
was asked for them with k from 1 to 5: both 70k0 500 hard, both 70k1 300 mixed, lens-only 70k2 120 hard, lens-only 70k3 200 mixed; both 7090 250
easy.

A conditional logit (McFadden 1974): in each still one reading is right, or that there are no marks, whose utility is 0. The
utility of a reading is what a network of one hidden layer makes of each of its marks, summed, and a weighted sum of what
the marks are together, beside what their lines' crossing says (choose.rs), which is held. Of no use is a still whose marks are
not among its candidates: it is left out of the fit, but not of the judgement.

With --first-sight, instead: the weights of a sum of the traits alone, fitted in the same way, for `likeness.rs`. With --held-out: how each third of the stills is read by weights from the other two, at several least
probabilities, and how often wrongly.
"""

import json
import pathlib
import sys

import numpy as np
import torch

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent))
from network import Net, as_rust, log_sum, together, trained, usual  # noqa: E402

TRAITS, PROFILE, SET = 23, 106, 7  # likeness.rs, profile.rs, choose.rs
LEAST_SPREAD = 0.05
SAME_AXIS_DEG = 3.0  # choose.rs
# Units and networks (their mean is one network of NETS x UNITS units); pull of the weights to 0; sd of the noise that
# every number gets anew at each step, so that none decides alone; steps.
UNITS, NETS, DECAY, NOISE, STEPS = 24, 2, 3e-4, 0.4, 500


def read(path):
    stills = []
    for line in open(path):
        if not line.startswith("{"):
            continue
        whole = json.loads(line)
        name, still = whole["still"], whole["reference"]
        traits = np.array(still["traits"], np.float32).reshape(-1, TRAITS)
        profiles = np.array(still["profiles"], np.float32).reshape(-1, PROFILE)
        right = np.array(still["right"], bool)
        count = np.array([len(p) for p in still["placed"]])
        if right.any():
            # Of several right readings the fullest is meant.
            right &= count == count[right].max()
        stills.append({
            "name": name,
            "marked": still["marks"] > 0,
            "inputs": np.hstack([traits, profiles]),
            "set": np.array(still["terms"], np.float32).reshape(-1, SET),
            "placed": still["placed"],
            "crossing": np.array(still["crossing"], np.float32),
            "right": right,
            "zero": np.array(still["zero_deg"]),
        })
    return stills


class Batch:
    """Stills as tensors: candidates, readings, and which belongs to which."""

    def __init__(self, stills, mean, spread, inputs):
        at, reading_of, candidate_of, still_of = 0, [], [], []
        for k, still in enumerate(stills):
            for placed in still["placed"]:
                reading_of += [len(still_of)] * len(placed)
                candidate_of += [at + p for p in placed]
                still_of.append(k)
            at += len(still["inputs"])
        self.inputs = usual(np.concatenate([s["inputs"] for s in stills]), mean, spread)[:, :inputs]
        self.set = torch.tensor(np.concatenate([s["set"] for s in stills])).float()
        self.held = torch.tensor(np.concatenate([s["crossing"] for s in stills]))
        self.reading_of, self.candidate_of = torch.tensor(reading_of), torch.tensor(candidate_of)
        self.still_of, self.count = torch.tensor(still_of), len(stills)
        self.right = torch.tensor(np.concatenate([s["right"] for s in stills]))
        self.marked = torch.tensor([s["marked"] for s in stills])
        self.used = ~self.marked | torch.tensor([bool(s["right"].any()) for s in stills])

    def utility(self, net, noise=0.0):
        own = net(self.inputs + noise * torch.randn_like(self.inputs))
        return (self.set @ net.together + self.held).index_add(0, self.reading_of, own[self.candidate_of])

    def loss(self, net, noise):
        utility = self.utility(net, noise)
        whole = log_sum(utility, self.still_of, self.count, True)
        right = log_sum(utility[self.right], self.still_of[self.right], self.count, False)
        return torch.where(self.marked, whole - right, whole)[self.used].mean()


def fitted(batch, units=UNITS, nets=NETS, noise=NOISE):
    inputs = batch.inputs.shape[1]
    return [trained(lambda: Net(inputs, units, SET), seed, lambda net: batch.loss(net, noise), DECAY, STEPS) for seed in range(nets)]


def judged(stills, batch, nets):
    with torch.no_grad():
        utilities = (sum(batch.utility(net) for net in nets) / len(nets)).double().numpy()
    at = 0
    for still in stills:
        utility = utilities[at:at + len(still["placed"])]
        at += len(utility)
        if not len(utility):
            yield still["name"], still["marked"], 0.0, False
            continue
        top = max(utility.max(), 0.0)
        odds = np.exp(utility - top)
        apart = np.abs((2 * (still["zero"] - still["zero"][utility.argmax()]) + 180) % 360 - 180) / 2
        probability = odds[apart <= SAME_AXIS_DEG].sum() / (odds.sum() + np.exp(-top))
        # A part of the right set gives the right axis too.
        right = still["right"]
        yield still["name"], still["marked"], probability, bool(right.any() and apart[right].min() <= SAME_AXIS_DEG)


def held_out(stills, mean, spread):
    verdicts = []
    for part in range(3):
        rest = Batch([s for i, s in enumerate(stills) if i % 3 != part], mean, spread, TRAITS + PROFILE)
        third = [s for i, s in enumerate(stills) if i % 3 == part]
        verdicts += judged(third, Batch(third, mean, spread, TRAITS + PROFILE), fitted(rest))
    marked = sum(v[1] for v in verdicts)
    print(f"{marked} stills with marks, {len(verdicts) - marked} without; held out by thirds:")
    for least in (0.5, 0.6, 0.65, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95):
        read_right = sum(m and p >= least and s for _, m, p, s in verdicts)
        wrong = [n for n, m, p, s in verdicts if m and p >= least and not s]
        invented = [n for n, m, p, _ in verdicts if not m and p >= least]
        print(f"  {least:.2f}: read {read_right / marked:.3f}, wrong {len(wrong)}, invented {len(invented)}", wrong, invented)


def main():
    stills = read(sys.argv[-1])
    everything = np.concatenate([s["inputs"] for s in stills])
    mean, spread = everything.mean(axis=0), np.maximum(everything.std(axis=0), LEAST_SPREAD)
    if "--held-out" in sys.argv:
        return held_out(stills, mean, spread)
    named = lambda values: ", ".join(f"{v:.2f}" for v in values)
    if "--first-sight" in sys.argv:
        net = fitted(Batch(stills, mean, spread, TRAITS), units=0, nets=1, noise=0.0)[0]
        traits = net.straight.detach().numpy() / spread[:TRAITS]
        return print(f"MARK {float(net.bias.detach()) - traits @ mean[:TRAITS]:.2f}\nTRAITS {named(traits)}")
    nets = fitted(Batch(stills, mean, spread, TRAITS + PROFILE))
    marked = sum(s["marked"] for s in stills)
    print(f"""//! Weights of what speaks for and against a reading of the reference marks, natural logarithms of odds.
//!
//! Written by `tests/reference/mark_weights/fit.py` from {len(stills)} drawn stills, {marked} of them with marks: not to be edited
//! by hand. No frame of a real operation was used.

use super::network::INPUTS;
use crate::vision::network::Network;

/// Of the whole: each mark beyond the first; difference in distance from the limbus; deviation from the pattern; a single
/// mark; lead over other candidates; how many others are like these; a single broad mark without a direction.
pub const SET: [f64; {SET}] = [{named(together(nets))}];
""")
    print("/// Of a mark by its traits and profile.")
    print(as_rust(f"pub(super) static NETWORK: Network<INPUTS, {NETS * UNITS}>", nets, mean, spread))


if __name__ == "__main__":
    main()
