"""Figures: one function a figure, a Dataset in, axes out. matplotlib is loaded when a figure is drawn, not before."""

from __future__ import annotations

from importlib import import_module

_HOME = {
    "draw_vehicle": "vehicle.drawing",
    "draw_axes": "vehicle.conventions",
    "draw_fin_numbers": "vehicle.conventions",
    "draw_conventions": "vehicle.conventions",
    "plot_track": "flight.flight",
    "plot_ground_track": "flight.flight",
    "plot_tilt": "flight.flight",
    "plot_fins": "flight.flight",
    "plot_margin": "flight.flight",
    "plot_speed": "flight.flight",
    "plot_flight": "flight.flight",
    "plot_attitude_error": "flight.control",
    "plot_demands": "flight.control",
    "plot_estimate_error": "flight.control",
    "plot_waypoints": "flight.control",
    "plot_control": "flight.control",
    "plot_schedule": "loops.tuning",
    "plot_lags": "loops.tuning",
    "plot_tuning": "loops.tuning",
    "plot_histogram": "uncertainty.ensemble",
    "plot_fan": "uncertainty.ensemble",
    "plot_landing": "uncertainty.ensemble",
    "plot_ensemble": "uncertainty.ensemble",
    "plot_comparison": "uncertainty.comparison",
    "plot_paired": "uncertainty.comparison",
    "plot_verdicts": "uncertainty.comparison",
    "plot_tornado": "uncertainty.sensitivity",
    "plot_scatter_matrix": "uncertainty.sensitivity",
    "plot_convergence": "uncertainty.statistics",
    "plot_quantiles": "uncertainty.statistics",
    "plot_separation": "flight.staging",
    "plot_bodies": "flight.staging",
    "plot_timeline": "flight.staging",
    "plot_landings": "flight.staging",
    "plot_rehearsal": "flight.rehearsal",
    "plot_air": "flight.air",
    "plot_drag_build_up": "aero.mach",
    "plot_stability": "aero.mach",
    "plot_slopes": "aero.mach",
    "plot_centres": "aero.mach",
    "plot_pitch_damping": "aero.mach",
    "plot_roll": "aero.mach",
    "aero_figures": "aero.every",
    "plot_authority": "aero.authority",
    "plot_authorities": "aero.authority",
    "plot_trim": "aero.authority",
    "plot_hinge_moments": "aero.authority",
    "plot_survival": "aero.authority",
    "plot_margin_spread": "loops.robustness",
    "plot_gain_map": "loops.robustness",
    "plot_modes": "loops.linear",
    "plot_margins": "loops.linear",
    "plot_bode": "loops.loop",
    "plot_nyquist": "loops.loop",
    "plot_nichols": "loops.loop",
    "plot_root_locus": "loops.loop_closed",
    "plot_steps": "loops.loop_closed",
    "plot_disturbances": "loops.loop_closed",
    "plot_responses": "loops.loop_closed",
    "plot_limit_cycle": "loops.limit_cycle",
    "plot_describing": "loops.limit_cycle",
    "plot_limit_cycles": "loops.limit_cycle",
}
__all__ = sorted(_HOME)


def __getattr__(name: str):
    if name in _HOME:
        value = getattr(import_module(f"sixdof.plot.{_HOME[name]}"), name)
        globals()[name] = value
        return value
    raise AttributeError(f"module 'sixdof.plot' has no attribute {name!r}")


def __dir__():
    return __all__
