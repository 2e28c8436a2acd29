"""kc from spindle power: made readings give back what they were made with, within the interval as often as promised."""

import numpy as np
import pytest

from halfthou.physics.learn import PowerPrior, power_fit

PRIOR = PowerPrior(ln_kc_std=0.22, mc_std=0.06, idle_w=250.0, idle_std_w=150.0, efficiency=0.85, efficiency_std=0.03)


def made(rng, *, n=12, chips=(0.03, 0.2), noise=0.05, idle=310.0, step=10.0, repeat=1):
    """(readings W, model W at best kc, chips, half steps, block, truth: kc ratio, mc change, efficiency)."""
    model = rng.uniform(200, 1500, n).repeat(repeat)
    chip = np.exp(rng.uniform(*np.log(chips), n)).repeat(repeat)
    block = np.arange(n).repeat(repeat)
    pivot = np.exp(np.log(chip).mean())
    kc, mc = np.exp(0.22 * rng.standard_normal()), 0.06 * rng.standard_normal()
    efficiency = 0.85 + 0.03 * rng.standard_normal()
    cut = kc / efficiency * model * (chip / pivot) ** (-mc) * (1 + noise * rng.standard_normal(n * repeat))
    return (
        np.round((idle + cut) / step) * step,
        model,
        chip,
        np.full(n * repeat, step / 2),
        block,
        (kc, mc, efficiency, pivot),
    )


def test_intervals_hold_what_the_readings_were_made_with():
    rng = np.random.default_rng(11)
    hits = np.zeros(4)
    tries = 200
    for _ in range(tries):
        idle = 250 + 150 * rng.standard_normal()
        y, model, chip, half, block, (kc, mc, efficiency, _) = made(rng, idle=idle)
        fit = power_fit(y, model, chip, half, block, PRIOR)
        hits += [
            abs(np.log(fit.kc_ratio / kc)) < 1.645 * fit.kc_std,
            abs(fit.mc_change - mc) < 1.645 * fit.mc_std,
            abs(fit.idle_w - idle) < 1.645 * fit.idle_std_w,
            abs(np.log(fit.kc_ratio / 0.85 * efficiency / kc)) < 1.645 * fit.drive_std,
        ]
    # 90 % promised; of 200, fewer than 168 or more than 196 has a chance below 1 %
    assert np.all(hits >= 168) and np.all(hits <= 198), hits


def test_readings_narrow_what_they_can():
    rng = np.random.default_rng(3)
    y, model, chip, half, block, _ = made(rng, n=20, noise=0.03)
    fit = power_fit(y, model, chip, half, block, PRIOR)
    assert fit.drive_std < 0.06 < PRIOR.ln_kc_std and fit.idle_told and fit.mc_told
    assert fit.kc_std >= PRIOR.efficiency_std / PRIOR.efficiency  # the drive's losses cannot be seen from its power
    same = np.full(20, 0.08)
    flat = power_fit(y, model, same, half, block, PRIOR)
    assert not flat.mc_told and flat.mc_std == pytest.approx(PRIOR.mc_std, rel=1e-6)  # equal chips tell nothing of mc
    one = power_fit(y[:1], model[:1], chip[:1], half[:1], block[:1], PRIOR)
    assert one.drive_std > 2 * fit.drive_std and not one.mc_told


def test_stated_idle_power_stays():
    rng = np.random.default_rng(5)
    y, model, chip, half, block, (kc, _, efficiency, _) = made(rng, n=15, idle=310.0)
    known = PowerPrior(ln_kc_std=0.22, mc_std=0.06, idle_w=310.0, idle_std_w=5.0, efficiency=0.85, efficiency_std=0.03)
    fit = power_fit(y, model, chip, half, block, known)
    assert fit.idle_w == pytest.approx(310.0, abs=10)
    assert fit.kc_ratio == pytest.approx(kc * 0.85 / efficiency, rel=0.06)


def test_repeats_show_the_noise():
    rng = np.random.default_rng(9)
    y, model, chip, half, block, _ = made(rng, n=8, noise=0.04, repeat=4, idle=0.0)
    still = PowerPrior(ln_kc_std=0.22, mc_std=0.06, idle_w=0.0, idle_std_w=1.0, efficiency=0.85, efficiency_std=0.03)
    split = power_fit(y, model, chip, half, block, still).split
    assert split.noise_ratio == pytest.approx(0.04, rel=0.4) and split.noise_dof == 24
    assert split.rms_ratio >= split.model_ratio


def test_no_readings_are_refused():
    none = np.empty(0)
    with pytest.raises(ValueError, match="no readings"):
        power_fit(none, none, none, none, none.astype(np.int64), PRIOR)
