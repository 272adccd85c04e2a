"""Weights of the two opinions of the limbus judge, from candidates of known error; for src/vision/limbus/weights.rs.

    stillaxis simulate --difficulty easy --count 100 --seed 61004 --out easy      # and so on: see SHARES
    stillaxis simulate --difficulty mixed --count 500 --seed 61001 --out mixed
    stillaxis simulate --difficulty hard --count 900 --seed 61002 --out hard
    stillaxis simulate --marks none --count 100 --seed 61003 --out no_marks
    python no_eye.py 5 . && python variants.py FRAMES 50 71 variants
    cargo bench --bench limbus_traits -- easy mixed hard no_marks general cuts shapes variants frames > traits.csv
    python train.py [--held-out] traits.csv > weights.rs && rustfmt weights.rs

A folder holds stills and their truth.json (as `stillaxis simulate` writes it; entries may name the `eye` they show), or
pictures without one, which hold no limbus. `frames` are real ones. With --held-out it prints how each folder fares: stills of each eye, and pictures without,
under weights fitted without them, instead of weights.

The weights in use were fitted to the 1600 drawn stills above, 29 general pictures (scikit-image, scikit-learn and matplotlib ship
them) and cuts of them, 900 pictures of discs, rings, boxes and targets, and 73 real frames of eight eyes that are not part of the
project, 17 of them without any marks, with 850 variants of these.

Candidates within 7 percent of the limbus are right, beyond 12 percent wrong, those between are left out. In each still right and
wrong weigh alike; the folders weigh by SHARES.
"""
import csv
import pathlib
import re
import sys
import zlib

import numpy as np
import torch

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent))
from network import Net, as_rust, trained, usual  # noqa: E402

FEATURES = 9  # judge.rs: FEATURES
RIGHT_PCT, WRONG_PCT = 7.0, 12.0
FOLDS = 5
# What src/vision/limbus/mod.rs asks of the profile and of the features.
PROFILE_NEEDED, FEATURES_NEEDED = 1.25, -1.5
NETS, UNITS, DECAY, NOISE, STEPS, STILLS, TOP_RATE = 3, 12, 3e-4, 0.3, 300, 500, 0.02
SHARES = {"easy": 0.05, "mixed": 0.15, "hard": 0.2, "no_marks": 0.03, "general": 0.08, "cuts": 0.1, "shapes": 0.2,
          "variants": 0.32, "frames": 0.08}


def read(paths):
    rows = [row for path in paths for row in csv.reader(open(path))]
    still, folder, eye = (np.array(c) for c in list(zip(*(row[:4] for row in rows)))[:3])
    error = np.array([row[3] for row in rows], dtype=float)
    return still, folder, eye, error, np.array([row[4:] for row in rows], dtype=np.float32)


class Candidates:
    """What is trained on: candidates, the stills they belong to, and how often each still is drawn."""

    def __init__(self, still, folder, error, numbers):
        self.mean, self.spread = numbers.mean(0), numbers.std(0) + 1e-3
        self.numbers = usual(numbers, self.mean, self.spread)
        self.label = torch.tensor(np.where(error < RIGHT_PCT, 1, np.where(error > WRONG_PCT, 0, -1)))
        names, first, of = np.unique(still, return_index=True, return_inverse=True)
        self.order = np.argsort(of, kind="stable")
        self.bounds = np.searchsorted(of[self.order], np.arange(len(names) + 1))
        share = np.array([SHARES[f] / (folder[first] == f).sum() for f in folder[first]])
        self.share = share / share.sum()

    def opinion(self, units, noise, seed):
        rng = np.random.default_rng(seed)
        inputs = self.numbers.shape[1]
        # Noise is drawn once, and taken from another place in each step.
        torch.manual_seed(seed)
        bank = noise * torch.randn(200 * STILLS, inputs)

        def loss(net):
            drawn = rng.choice(len(self.share), STILLS, p=self.share)
            parts = [self.order[self.bounds[d]:self.bounds[d + 1]] for d in drawn]
            rows, of = torch.tensor(np.concatenate(parts)), torch.tensor(np.repeat(np.arange(STILLS), [len(p) for p in parts]))
            label = self.label[rows]
            count = [torch.zeros(STILLS).index_add(0, of, (label == v).float()).clamp_min(1) for v in (0, 1)]
            weight = torch.where(label == 1, 0.5 / count[1][of], 0.5 / count[0][of]) * (label >= 0)
            at = int(rng.integers(0, len(bank) - len(rows)))
            score = net(self.numbers[rows] + bank[at:at + len(rows)])
            return (weight * torch.nn.functional.binary_cross_entropy_with_logits(score, (label == 1).float(), reduction="none")).sum() / STILLS

        return trained(lambda: Net(inputs, units), seed, loss, DECAY, STEPS, TOP_RATE)

    def judge(self, nets, numbers):
        with torch.no_grad():
            return np.mean([net(usual(numbers, self.mean, self.spread)).numpy() for net in nets], axis=0)


def opinions(still, folder, error, numbers):
    """Both, each with what it was trained on: a sum of the features, and the networks on everything."""
    features = Candidates(still, folder, error, numbers[:, :FEATURES])
    profile = Candidates(still, folder, error, numbers)
    return features, [features.opinion(0, 0.0, 0)], profile, [profile.opinion(UNITS, NOISE, seed) for seed in range(NETS)]


def held_out(still, folder, eye, error, numbers):
    # Of general pictures and their cuts, those of one picture stay together.
    whole = [e if e.startswith("eye ") else re.sub(r"_\d$", "", e.split("/")[-1]) for e in eye]
    eyes = sorted({e for e in whole if e.startswith("eye ")})
    fold = np.array([eyes.index(e) % FOLDS if e in eyes else zlib.crc32(e.encode()) % FOLDS for e in whole])
    profile, features = np.zeros(len(error)), np.zeros(len(error))
    for f in range(FOLDS):
        rest, part = fold != f, fold == f
        one, one_nets, other, other_nets = opinions(still[rest], folder[rest], error[rest], numbers[rest])
        features[part] = one.judge(one_nets, numbers[part][:, :FEATURES])
        profile[part] = other.judge(other_nets, numbers[part])
    print("claimed within 7 % / 7-12 % / beyond, by how far the lesser opinion lies above what is asked of it")
    for name in SHARES:
        stills = [np.flatnonzero(still == s) for s in sorted(set(still[folder == name]))]
        best = np.array([rows[np.argmax(profile[rows])] for rows in stills])
        row = f"{name:9} {len(best):4}"
        for need in (-1, 0, 1, 2, 3):
            claimed = np.minimum(profile - PROFILE_NEEDED, features - FEATURES_NEEDED)[best] > need
            e = error[best]
            shares = [(claimed & m).mean() for m in (e < 7, (e >= 7) & (e < 12), e >= 12)]
            row += f"   {need}: " + "/".join(f"{s:.3f}" for s in shares)
        print(row)


def main():
    everything = read([a for a in sys.argv[1:] if not a.startswith("-")])
    if "--held-out" in sys.argv:
        return held_out(*everything)
    still, folder, _, error, numbers = everything
    features, feature_nets, profile, profile_nets = opinions(still, folder, error, numbers)
    print(f"""//! Weights of the limbus judge, written by `tests/reference/limbus/train.py`: not to be edited by hand.

use super::judge::{{FEATURES, TRAITS}};
use crate::vision::network::Network;
""")
    print("/// The first opinion: a weighted sum of the features.")
    print(as_rust("pub(super) static BY_FEATURES: Network<FEATURES, 0>", feature_nets, features.mean, features.spread))
    print("\n/// The second: a network on all traits.")
    print(as_rust(f"pub(super) static BY_PROFILE: Network<TRAITS, {NETS * UNITS}>", profile_nets, profile.mean, profile.spread))


if __name__ == "__main__":
    main()
