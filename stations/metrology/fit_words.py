"""What a technician should know about a flow-meter fit before accepting it."""

from __future__ import annotations

from stations.metrology.flowmeter import SIGNIFICANT, FlowMeterFit

FEW_DOF = 4
LARGE_UNCERTAINTY = 0.01


def concerns(fit: FlowMeterFit) -> list[str]:
    """Return the fit's weak points as sentences, worst first; empty if there are none."""
    found = [_outlier(fit), _intercept(fit), _curvature(fit), _wide(fit), _few(fit)]
    return [sentence for sentence in found if sentence]


def _outlier(fit: FlowMeterFit) -> str:
    """Return a sentence that names the run that doesn't fit the others."""
    if fit.outlier is None or fit.suspect is None:
        return ""
    residual = fit.line.residuals[fit.outlier - 1]
    return (
        f"Run {fit.outlier} does not fit the others: {residual:+.1f} pulses off the line "
        f"(p = {fit.suspect.p_value:.2g}, adjusted for {len(fit.volumes)} runs). "
        "Repeat it before leaving it out."
    )


def _intercept(fit: FlowMeterFit) -> str:
    """Return a sentence on a line that misses the origin, or on runs that can't tell."""
    if fit.intercept is None or fit.intercept_p_value is None:
        return (
            "All runs are of about one volume, so whether the line passes through zero and is "
            "straight can't be told. Add runs of half and of double that volume."
        )
    if fit.intercept_p_value >= SIGNIFICANT:
        return ""
    return (
        f"The line misses zero by {fit.intercept:+.1f} pulses (p = {fit.intercept_p_value:.2g}): "
        "look for water left in the cup or the line, or pulses counted before the water came."
    )


def _curvature(fit: FlowMeterFit) -> str:
    """Return a sentence on a meter that isn't linear."""
    if fit.curvature_p_value is None or fit.curvature_p_value >= SIGNIFICANT:
        return ""
    return (
        f"Pulses do not rise in a straight line with the volume (p = {fit.curvature_p_value:.2g}): "
        "calibrate near the volumes that the recipes use."
    )


def _wide(fit: FlowMeterFit) -> str:
    """Return a sentence on an uncertainty above 1 % of K (k = 2)."""
    share = fit.expanded / fit.pulses_per_millilitre
    if share <= LARGE_UNCERTAINTY:
        return ""
    return f"The calibration is uncertain by ±{share:.1%} (k = 2). More runs would narrow it."


def _few(fit: FlowMeterFit) -> str:
    """Return a sentence on too few runs for k = 2 to mean about 95 %."""
    if fit.dof >= FEW_DOF:
        return ""
    wide = fit.line.factor()
    return (
        f"With {len(fit.volumes)} runs, 95 % needs k = {wide:.1f}, not 2. "
        f"Make at least {FEW_DOF + 1} runs."
    )
