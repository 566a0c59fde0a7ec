"""Values that the simulation is checked against: run it to write simulate.csv.

Needs scipy and mpmath (1.17 and 1.4 were used). Closed forms where there are any; the sum of gammas of different scale by
inverting its characteristic function (Gil-Pelaez 1951), in 30 digits.
"""

import csv

import mpmath
from scipy import optimize, stats

mpmath.mp.dps = 30
rows = []
LEVELS = (0.1, 0.5, 0.8, 0.9)


def put(case, what, value):
    rows.append((case, what, f"{float(value):.9f}"))


def gamma(mean, scale):
    """The gamma distribution with that mean and variance over mean."""
    return stats.gamma(mean / scale, scale=scale)


# Three quantities of different grain.
parts = [(2.4, 0.3), (6.37, 0.6), (0.9, 0.05)]


def below(x):
    def integrand(t):
        phi = mpmath.mpc(1)
        for mean, scale in parts:
            phi *= (1 - 1j * t * scale) ** (-mpmath.mpf(mean) / scale)
        return (mpmath.exp(-1j * t * x) * phi).imag / t

    return mpmath.mpf(0.5) - mpmath.quad(integrand, [0, 0.5, 1, 2, 4, 8, 16, 64]) / mpmath.pi


put("gammas", "mean", sum(mean for mean, _ in parts))
put("gammas", "variance", sum(mean * scale for mean, scale in parts))
for level in LEVELS:
    put("gammas", f"p{level}", optimize.brentq(lambda x: float(below(x)) - level, 2, 30, xtol=1e-10))

# The same grain: the sum is a gamma again.
put("same grain", "mean", 6.0)
for level in LEVELS:
    put("same grain", f"p{level}", gamma(6.0, 0.4).ppf(level))

# Rates that are shared: a log-normal of mean 9 with the relative variances 0.02, 0.015, 0.03 and 0.0169 as factors.
spread = sum(mpmath.log(1 + mpmath.mpf(v)) for v in ("0.02", "0.015", "0.03", "0.0169"))
shared = stats.lognorm(float(mpmath.sqrt(spread)), scale=float(9 * mpmath.exp(-spread / 2)))
put("shared", "mean", 9)
put("shared", "variance", shared.var())
for level in LEVELS:
    put("shared", f"p{level}", shared.ppf(level))

# Something that turns up 4 times in 10: a gamma of mean 3 and scale 0.5 then, else nothing.
for level in LEVELS:
    rest = level - 0.6
    put("may turn up", f"p{level}", gamma(3.0, 0.5).ppf(rest / 0.4) if rest > 0 else 0.0)
put("may turn up", "mean", 0.4 * 3)
put("may turn up", "variance", 0.4 * (3 * 0.5 + 9) - 1.2**2)

# An extent between 8 and 16, any as likely, always there, nothing else unknown.
put("extent", "mean", 12)
put("extent", "variance", (16 - 8) ** 2 / 12)
for level in LEVELS:
    put("extent", f"p{level}", 8 + 8 * level)

# Hours of mean 9 and scale 0.4 in days of 8 h with a half day of 4: 62 a half day, 80 a day, any sum of them.
hours = gamma(9.0, 0.4)
half_days = [0, 62, 80, 142, 160, 222, 240, 302, 320, 382, 400]
ends = [0, 4, 8, 12, 16, 20, 24, 28, 32, 36, 40]
cost = days = 0.0
for n in range(1, len(ends)):
    chance = hours.cdf(ends[n]) - hours.cdf(ends[n - 1])
    cost += chance * half_days[n]
    days += chance * n / 2
put("rental", "mean cost", cost * 100)
put("rental", "mean days", days)
put("rental", "p0.8", hours.ppf(0.8))

# A finish that doesn't keep: 0.6 gal of scale 0.05 on the mean, in cans of 1 gal at 118 and 2.5 gal at 280.
used = gamma(0.6, 0.05)
covers = [(1, 118), (2, 236), (2.5, 280), (3.5, 398), (4.5, 516), (5, 560)]
paid, last = 0.0, 0.0
for reach, price in covers:
    paid += (used.cdf(reach) - used.cdf(last)) * price
    last = reach
put("opened", "mean cost", (paid - 0.6 * 118) * 100)

# Discs on 180 sq ft after 31 of them on 620 sq ft, with a book of 25 sq ft a disc that counts for 500 sq ft: negative
# binomial (Kelly and Smith 2011, chapter 3: the predictive of a gamma-Poisson), and the packs of five that hold them.
shape, rate = 500 / 25 + 31, 500 + 620
discs = stats.nbinom(shape, rate / (rate + 180))
put("discs", "mean", discs.mean())
put("discs", "variance", discs.var())
for level in LEVELS:
    put("discs", f"p{level}", discs.ppf(level))
    put("discs", f"packs{level}", -(-discs.ppf(level) // 5))

with open("simulate.csv", "w", newline="") as file:
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(("case", "what", "value"))
    writer.writerows(rows)
