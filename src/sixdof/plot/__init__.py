"""Figures: one function a figure, a Dataset in, axes out. matplotlib is loaded when a figure is drawn, not before."""

from __future__ import annotations

from importlib import import_module

_HOME = {
    "draw_vehicle": "drawing",
    "draw_axes": "conventions",
    "draw_fin_numbers": "conventions",
    "draw_conventions": "conventions",
    "plot_track": "flight",
    "plot_ground_track": "flight",
    "plot_tilt": "flight",
    "plot_fins": "flight",
    "plot_margin": "flight",
    "plot_speed": "flight",
    "plot_flight": "flight",
    "plot_attitude_error": "control",
    "plot_demands": "control",
    "plot_estimate_error": "control",
    "plot_waypoints": "control",
    "plot_control": "control",
    "plot_schedule": "tuning",
    "plot_lags": "tuning",
    "plot_tuning": "tuning",
    "plot_histogram": "ensemble",
    "plot_fan": "ensemble",
    "plot_landing": "ensemble",
    "plot_ensemble": "ensemble",
    "plot_comparison": "comparison",
    "plot_paired": "comparison",
    "plot_verdicts": "comparison",
    "plot_tornado": "sensitivity",
    "plot_scatter_matrix": "sensitivity",
    "plot_convergence": "statistics",
    "plot_quantiles": "statistics",
    "plot_separation": "staging",
    "plot_bodies": "staging",
    "plot_timeline": "staging",
    "plot_landings": "staging",
    "plot_rehearsal": "rehearsal",
    "plot_air": "air",
    "plot_drag_build_up": "aero",
    "plot_stability": "aero",
    "plot_slopes": "aero",
    "plot_centres": "aero",
    "plot_pitch_damping": "aero",
    "plot_roll": "aero",
    "aero_figures": "aero",
    "plot_authority": "authority",
    "plot_authorities": "authority",
    "plot_trim": "authority",
    "plot_hinge_moments": "authority",
    "plot_survival": "authority",
    "plot_margin_spread": "robustness",
    "plot_gain_map": "robustness",
    "plot_modes": "linear",
    "plot_margins": "linear",
    "plot_bode": "loop",
    "plot_nyquist": "loop",
    "plot_nichols": "loop",
    "plot_root_locus": "loop_closed",
    "plot_steps": "loop_closed",
    "plot_disturbances": "loop_closed",
    "plot_responses": "loop_closed",
    "plot_limit_cycle": "limit_cycle",
    "plot_describing": "limit_cycle",
    "plot_limit_cycles": "limit_cycle",
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
