"""Values of statistical tests and intervals by well-known libraries, for tests/statistics.

    python make.py          # writes expected.json and versions.json beside itself

Versions used: requirements.txt and versions.json.
"""

import itertools
import json
import platform
from pathlib import Path

import astropy
import astropy.stats
import astropy.units as u
import numpy as np
import pandas as pd
import pingouin as pg
import scipy
import statsmodels
from scipy import optimize, special, stats
from statsmodels.stats import multitest, power, proportion

HERE = Path(__file__).parent
A = [1.2, -0.5, 3.1, 0.4, -2.2, 1.9, 0.1, -1.0]
B = [4.2, -3.5, 6.1, -5.0, 2.2, -6.9, 3.1, 0.5, -2.7]
C = [0.3, 0.9, -0.4, 0.2, -0.8, 1.1, 0.0]
AXES = [5, 175, 12, 170, 1, 178, 8, 166, 3, 10]
SHROUT_FLEISS = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]


def descriptive():
    values = A + B
    return {
        "values": values,
        "mean": np.mean(values),
        "sd": np.std(values, ddof=1),
        "median": np.median(values),
        "quantile_10": np.quantile(values, 0.1),
        "quantile_90": np.quantile(values, 0.9),
        "trimmed_10": stats.trim_mean(values, 0.1),
        "trimmed_20": stats.trim_mean(values, 0.2),
        "scaled_mad": stats.median_abs_deviation(values, scale="normal"),
    }


def axial():
    doubled = np.radians(2 * np.array(AXES, float))
    resultant = abs(np.mean(np.exp(1j * doubled)))
    kappa = optimize.brentq(lambda k: special.i1e(k) / special.i0e(k) - resultant, 1e-6, 1e4, xtol=1e-12)
    second = abs(np.mean(np.exp(2j * doubled)))
    dispersion = (1 - second) / (2 * resultant**2)
    half = np.degrees(np.arcsin(stats.norm.ppf(0.975) * np.sqrt(dispersion / len(AXES)))) / 2
    return {
        "axes_deg": AXES,
        "mean_scipy": stats.circmean(AXES, high=180),
        "sd_scipy": stats.circstd(AXES, high=180),
        "mean_astropy": float(astropy.stats.circmean(np.array(AXES) * 2 * u.deg).to_value(u.deg) / 2 % 180),
        "resultant": resultant,
        "kappa": kappa,
        "half_width_deg": half,
    }


def distributions():
    return {
        "t": [[p, f, stats.t.ppf(p, f)] for p in (0.6, 0.9, 0.975, 0.9995) for f in (1, 2.5, 13, 1000)],
        "f": [[p, a, b, stats.f.ppf(p, a, b)] for p in (0.025, 0.5, 0.95, 0.975) for a in (1, 5, 40) for b in (2.7, 13)],
        "chi2": [[p, f, stats.chi2.ppf(p, f)] for p in (0.025, 0.5, 0.975) for f in (1, 9, 150)],
        "t_two_sided": [[t, f, 2 * stats.t.sf(t, f)] for t in (0.3, 2, 7) for f in (2, 14)],
        "f_upper": [[x, a, b, stats.f.sf(x, a, b)] for x in (0.3, 2, 11) for a, b in ((2, 21), (7, 3))],
    }


def groups():
    bf = stats.levene(A, B, C, center="median")
    kw = stats.kruskal(A, B, C)
    mw = stats.mannwhitneyu(np.abs(A), np.abs(B), use_continuity=True, method="asymptotic")
    mw_signed = stats.mannwhitneyu(A, B, use_continuity=True, method="asymptotic")
    paired = np.array([0.31, -1.12, 2.23, 0.74, -0.45, 1.96, 3.17, -0.08, 1.39, 2.6])
    wx = stats.wilcoxon(paired, method="exact")
    tied = np.array([1, 1, -2, 3, 3, -3, 4, 5, -1, 6.0])
    ranks = stats.rankdata(np.abs(tied))
    w = ranks[tied > 0].sum()
    middle = ranks.sum() / 2
    far = sum(
        abs(sum(r for r, s in zip(ranks, signs) if s) - middle) >= abs(w - middle) - 1e-9
        for signs in itertools.product([0, 1], repeat=len(ranks))
    )
    rng = np.random.default_rng(5)
    many = np.round(rng.normal(0.3, 1, 80), 1)
    kept = many[many != 0]
    wx_many = stats.wilcoxon(kept, correction=False, method="asymptotic")
    return {
        "brown_forsythe": [bf.statistic, bf.pvalue],
        "kruskal": [kw.statistic, kw.pvalue],
        "mann_whitney_sizes": [mw.statistic, mw.pvalue],
        "mann_whitney_signed": [mw_signed.statistic, mw_signed.pvalue],
        "paired": list(paired),
        "wilcoxon_exact": wx.pvalue,
        "tied": list(tied),
        "wilcoxon_tied_enumerated": [w, far / 2 ** len(ranks)],
        "many": list(many),
        "wilcoxon_many_p": wx_many.pvalue,
        "hedges_g": pg.compute_effsize(A, B, eftype="hedges"),
        "cliffs_delta_from_cles": 2 * float(pg.mwu(A, B)["CLES"].iloc[0]) - 1,
    }


def agreement():
    rows = pd.DataFrame(SHROUT_FLEISS)
    long = rows.reset_index().melt(id_vars="index", var_name="judge", value_name="score")
    icc = pg.intraclass_corr(long, targets="index", raters="judge", ratings="score")
    column = next(name for name in icc.columns if name.startswith("CI"))
    rounded = [[r["Type"], r["ICC"], float(r[column][0]), float(r[column][1])] for _, r in icc.iterrows()]
    return {"intraclass_pingouin": rounded, "rows": SHROUT_FLEISS}


def proportions():
    cases = [(81, 263), (15, 148), (0, 20), (1, 29), (20, 20)]
    return [
        [x, n, *proportion.proportion_confint(x, n, method="wilson"), *proportion.proportion_confint(x, n, method="beta")]
        for x, n in cases
    ]


def holm():
    p = [0.01, 0.04, 0.03, 0.005, 0.5, 0.0001]
    return {"p": p, "corrected": list(multitest.multipletests(p, method="holm")[1])}


def powers():
    t = power.TTestIndPower()
    rows = [[d, n, t.power(d, n, 0.05, ratio=1)] for d in (0.2, 0.5, 1.0, 2.0) for n in (4, 12, 64, 400)]
    return {
        # Where the power is 1 to many digits the library gives NaN.
        "t": [row for row in rows if not np.isnan(row[2])],
        "t_needed": [[d, int(np.ceil(t.solve_power(d, None, 0.05, 0.8)))] for d in (0.2, 0.5, 1.0)],
        "f": [
            [r, n, stats.f.sf(stats.f.ppf(0.975, n - 1, n - 1) / r**2, n - 1, n - 1)
             + stats.f.cdf(stats.f.ppf(0.025, n - 1, n - 1) / r**2, n - 1, n - 1)]
            for r in (1.25, 1.5, 2.0) for n in (10, 19, 50, 160)
        ],
    }


def bootstrap():
    lsat = [576, 635, 558, 578, 666, 580, 555, 661, 651, 605, 653, 575, 545, 572, 594]
    gpa = [3.39, 3.30, 2.81, 3.03, 3.44, 3.07, 3.00, 3.43, 3.36, 3.13, 3.12, 2.74, 2.76, 2.88, 2.96]
    rng = np.random.default_rng(1)
    result = stats.bootstrap(
        (lsat, gpa), lambda x, y: stats.pearsonr(x, y).statistic, paired=True, vectorized=False,
        n_resamples=100_000, method="BCa", rng=rng,
    )
    percentile = stats.bootstrap(
        (lsat, gpa), lambda x, y: stats.pearsonr(x, y).statistic, paired=True, vectorized=False,
        n_resamples=100_000, method="percentile", rng=rng,
    )
    return {
        "bca": list(result.confidence_interval),
        "percentile": list(percentile.confidence_interval),
        "standard_error": result.standard_error,
    }


def clusters():
    import statsmodels.api as sm

    rng = np.random.default_rng(3)
    patient = np.repeat(np.arange(25), 2)[:44]
    values = np.round(rng.normal(0, 1, 44) + rng.normal(0, 1, 25)[patient], 2)
    fit = sm.OLS(values, np.ones(44)).fit(
        cov_type="cluster", cov_kwds={"groups": patient, "use_correction": False, "df_correction": False}
    )
    used = len(set(patient))
    return {
        "values": list(values),
        "patient": [int(p) for p in patient],
        "variance_of_mean": float(fit.cov_params()[0, 0]) * used / (used - 1),
    }


def region():
    rng = np.random.default_rng(4)
    points = np.round(rng.multivariate_normal([0.3, -0.1], [[0.5, 0.2], [0.2, 0.3]], 24), 3)
    n = len(points)
    cov = np.cov(points.T) / n
    bound = 2 * (n - 1) / (n - 2) * stats.f.ppf(0.95, 2, n - 2)
    values, vectors = np.linalg.eigh(cov)
    angle = np.degrees(np.arctan2(vectors[1, 1], vectors[0, 1])) % 180
    t2 = float(pg.multivariate_ttest(points)["T2"].iloc[0])
    return {
        "points": points.tolist(),
        "center": points.mean(0).tolist(),
        "semi_axes": np.sqrt(bound * values[::-1]).tolist(),
        "angle_deg": angle,
        "t2_pingouin": t2,
        "bound": bound,
    }


def plain(value):
    """NumPy numbers to Python's."""
    if isinstance(value, dict):
        return {key: plain(v) for key, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    return value.item() if isinstance(value, np.generic) else value


def main():
    parts = [descriptive, axial, distributions, groups, agreement, proportions, holm, powers, bootstrap, clusters, region]
    expected = {part.__name__: plain(part()) for part in parts}
    (HERE / "expected.json").write_text(json.dumps(expected, indent=1, allow_nan=False) + "\n")
    packages = [astropy, np, pd, pg, scipy, statsmodels]
    versions = {"python": platform.python_version()} | {p.__name__: p.__version__ for p in packages}
    (HERE / "versions.json").write_text(json.dumps(versions, indent=1) + "\n")


if __name__ == "__main__":
    main()
