"""Fit the two opinions of the limbus judge to candidates of known error; writes src/vision/limbus/weights.rs.

    cargo bench --bench limbus_traits -- FOLDER... > traits.csv
    python train.py [--held-out] traits.csv... > weights.rs && rustfmt weights.rs

A folder holds stills and their truth.json (as `stillaxis simulate` writes it; entries may name the `eye` they show), or
pictures without one, which hold no limbus. With --held-out it prints how each group of eyes or pictures fares under weights
fitted without it, instead of weights.

The weights in use were fitted to 220 drawn stills and 60 without marks (seeds 31 and 32), 33 general pictures (scikit-image,
scikit-learn and matplotlib ship them) and six cuts of each in other colours, 140 pictures of discs, rings, boxes and targets,
and 73 real frames of eight eyes that are not part of the project, 17 of them without any marks, with 614 variants of these
(other light, tint, pupil, iris and cloth, blood, lids, shade, turned, squeezed down to 0.6, cut by the edge of the picture, soft
and small) and 34 cuts without limbus. Each eye or picture judged by weights fitted without it: a limbus claimed and right on 71 of
the 73 frames, wrong on none; right on 0.62 and wrong on 0.04 of the variants, which are made to be hard; claimed on 10 of the 371
pictures and cuts without an eye, none of them one of the 33 general pictures as they are.

Candidates within 7 percent of the limbus are right, beyond 12 percent wrong, those between are left out. Kinds of stills
weigh alike, and so do right and wrong.
"""
import csv
import os
import sys
import warnings
import zlib

import numpy as np
from sklearn.exceptions import ConvergenceWarning
from sklearn.linear_model import LogisticRegression
from sklearn.neural_network import MLPClassifier

warnings.simplefilter("ignore", ConvergenceWarning)
FEATURES = 9  # judge.rs: FEATURES
UNUSUAL = 4.0  # judge.rs: UNUSUAL
RIGHT_PCT, WRONG_PCT = 7.0, 12.0
FOLDS = 8
NETS, HIDDEN, DECAY, DRAWS, NOISE = 3, 12, 1.0, 14000, 0.3


def read(paths):
    rows = [row for path in paths for row in csv.reader(open(path))]
    columns = list(zip(*(row[:4] for row in rows)))
    still, kind, eye = (np.array(c) for c in columns[:3])
    error = np.array(columns[3], dtype=float)
    traits = np.array([row[4:] for row in rows], dtype=np.float32)
    return still, kind, eye, error, traits


def label(error):
    return np.where(error < RIGHT_PCT, 1, np.where(error > WRONG_PCT, 0, -1))


def weights(kind, labels):
    w = np.zeros(len(labels))
    for value in (0, 1):
        of_value = labels == value
        for k in set(kind[of_value]):
            m = of_value & (kind == k)
            w[m] = 1.0 / m.sum()
        w[of_value] /= w[of_value].sum()
    return w / w.sum()


class Judge:
    def __init__(self, traits, labels, w):
        self.mean = traits.mean(0)
        self.spread = traits.std(0) + 1e-3
        x = self.usual(traits)
        self.features = LogisticRegression(C=1.0, max_iter=500).fit(x[:, :FEATURES], labels, sample_weight=w * len(w))
        self.nets = []
        for seed in range(NETS):
            rng = np.random.default_rng(seed)
            draw = rng.choice(len(labels), DRAWS, p=w)
            noisy = x[draw] + rng.normal(0, NOISE, (DRAWS, x.shape[1]))
            net = MLPClassifier((HIDDEN,), alpha=DECAY, max_iter=25, random_state=seed, learning_rate_init=2e-3)
            self.nets.append(net.fit(noisy, labels[draw]))

    def usual(self, traits):
        return np.clip((traits - self.mean) / self.spread, -UNUSUAL, UNUSUAL)

    def by_features(self, traits):
        return self.features.decision_function(self.usual(traits)[:, :FEATURES])

    def wide(self):
        """The mean of the networks' log odds, as one network of as many hidden units as they have together."""
        layers = [(n.coefs_, n.intercepts_) for n in self.nets]
        hidden = np.hstack([c[0] for c, _ in layers])
        hidden_bias = np.concatenate([b[0] for _, b in layers])
        out = np.concatenate([c[1][:, 0] for c, _ in layers]) / NETS
        return hidden, hidden_bias, out, sum(b[1][0] for _, b in layers) / NETS

    def by_profile(self, traits):
        hidden, hidden_bias, out, out_bias = self.wide()
        return np.maximum(self.usual(traits) @ hidden + hidden_bias, 0) @ out + out_bias


def fit(traits, error, kind, chosen):
    labels = label(error)
    m = chosen & (labels >= 0)
    return Judge(traits[m], labels[m], weights(kind[m], labels[m]))


def held_out(still, kind, eye, error, traits):
    """Best candidate of each still by weights fitted without its eye: still, kind, error, both opinions."""
    fold = np.array([zlib.crc32(e.encode()) % FOLDS for e in eye])
    named = sorted({e for e in eye if e.startswith("eye ")})
    for i, e in enumerate(named):
        fold[eye == e] = i % FOLDS
    profile, features = np.zeros(len(error)), np.zeros(len(error))
    for f in range(FOLDS):
        judge = fit(traits, error, kind, fold != f)
        profile[fold == f] = judge.by_profile(traits[fold == f])
        features[fold == f] = judge.by_features(traits[fold == f])
    return profile, features


def table(still, kind, error, profile, features):
    best = [m[np.argmax(profile[m])] for m in (np.flatnonzero(still == s) for s in sorted(set(still)))]
    best = np.array(best)
    print("claimed right (< 12 %) / wrong 12-20 % / wrong beyond, of each kind, by least profile and features score")
    for need in (-1, -0.5, 0, 0.5, 1, 2, 3):
        for least in (-99, -2, -1, 0):
            claimed = (profile[best] > need) & (features[best] > least)
            parts = []
            for k in sorted(set(kind)):
                m, e = kind[best] == k, error[best]
                right = (claimed & (e < 12))[m].mean()
                parts.append(f"{k} {right:.2f}/{(claimed & (e > 12) & (e < 20))[m].sum()}/{(claimed & (e > 20))[m].sum()}")
            print(f"{need:5.1f} {least:4d}  " + "  ".join(parts))


def array(name, doc, values):
    values = np.asarray(values)
    if values.ndim == 0:
        return f"/// {doc}\npub const {name}: f32 = {number(values)};\n"
    shape = "f32"
    for n in reversed(values.shape):
        shape = f"[{shape}; {n}]"
    rows = values if values.ndim == 2 else [values]
    text = ",\n".join("[" + ", ".join(map(number, row)) + "]" for row in rows)
    return f"/// {doc}\npub static {name}: {shape} = {'[' + text + ']' if values.ndim == 2 else text};\n"


def number(value):
    text = f"{value:.3g}" if abs(value) >= 1e-3 else "0.0"
    return text if "." in text or "e" in text else text + ".0"


def main():
    paths = [a for a in sys.argv[1:] if not a.startswith("-")]
    still, kind, eye, error, traits = read(paths)
    if "--held-out" in sys.argv:
        profile, features = held_out(still, kind, eye, error, traits)
        if "--keep" in sys.argv:
            np.savez("held_out.npz", still=still, kind=kind, eye=eye, error=error, profile=profile, features=features)
        return table(still, kind, error, profile, features)
    judge = fit(traits, error, kind, np.full(len(error), True))
    hidden, hidden_bias, out, out_bias = judge.wide()
    print("//! Weights of the judge, written by `tests/reference/limbus/train.py`: not to be edited by hand.\n")
    print(array("MEAN", "Mean of each trait.", judge.mean))
    print(array("SPREAD", "Standard deviation of each trait.", judge.spread))
    print(array("FEATURES_WEIGHT", "Weights of the features.", judge.features.coef_[0]))
    print(array("FEATURES_BIAS", "See `FEATURES_WEIGHT`.", judge.features.intercept_[0]))
    print(array("HIDDEN_WEIGHT", "Weights of the traits in each hidden unit.", hidden.T))
    print(array("HIDDEN_BIAS", "See `HIDDEN_WEIGHT`.", hidden_bias))
    print(array("OUT_WEIGHT", "Weights of the hidden units.", out))
    print(array("OUT_BIAS", "See `OUT_WEIGHT`.", out_bias))


if __name__ == "__main__":
    main()
