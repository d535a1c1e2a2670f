"""Figures: one function a figure; a Dataset in, axes out.

    sixdof.plot.plot_flight(flight)                      # one flight on a page
    sixdof.plot.draw_vehicle(mission)
    ax = sixdof.plot.plot_histogram(flights, "apogee_height")   # into axes of your own: ax=...

Every function draws into the axes it is given and returns them; colours and units are the same throughout. `draw_...` shows a vehicle or a
convention, `plot_...` a result. The names keep their first word, so that `from sixdof.plot import plot_flight` reads well alone.
matplotlib is loaded when a figure is drawn, not before.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sixdof.surface.lazy import show

if TYPE_CHECKING:
    from sixdof.plot.aero.authority import plot_authorities as plot_authorities
    from sixdof.plot.aero.authority import plot_authority as plot_authority
    from sixdof.plot.aero.authority import plot_hinge_moments as plot_hinge_moments
    from sixdof.plot.aero.authority import plot_survival as plot_survival
    from sixdof.plot.aero.authority import plot_trim as plot_trim
    from sixdof.plot.aero.every import aero_figures as aero_figures
    from sixdof.plot.aero.mach import plot_centres as plot_centres
    from sixdof.plot.aero.mach import plot_drag_build_up as plot_drag_build_up
    from sixdof.plot.aero.mach import plot_pitch_damping as plot_pitch_damping
    from sixdof.plot.aero.mach import plot_roll as plot_roll
    from sixdof.plot.aero.mach import plot_slopes as plot_slopes
    from sixdof.plot.aero.mach import plot_stability as plot_stability
    from sixdof.plot.flight.air import plot_air as plot_air
    from sixdof.plot.flight.control import plot_attitude_error as plot_attitude_error
    from sixdof.plot.flight.control import plot_control as plot_control
    from sixdof.plot.flight.control import plot_demands as plot_demands
    from sixdof.plot.flight.control import plot_estimate_error as plot_estimate_error
    from sixdof.plot.flight.control import plot_waypoints as plot_waypoints
    from sixdof.plot.flight.flight import plot_fins as plot_fins
    from sixdof.plot.flight.flight import plot_flight as plot_flight
    from sixdof.plot.flight.flight import plot_ground_track as plot_ground_track
    from sixdof.plot.flight.flight import plot_mach as plot_mach
    from sixdof.plot.flight.flight import plot_margin as plot_margin
    from sixdof.plot.flight.flight import plot_tilt as plot_tilt
    from sixdof.plot.flight.flight import plot_track as plot_track
    from sixdof.plot.flight.history import plot_acceleration as plot_acceleration
    from sixdof.plot.flight.history import plot_height as plot_height
    from sixdof.plot.flight.history import plot_speed as plot_speed
    from sixdof.plot.flight.history import plot_thrust as plot_thrust
    from sixdof.plot.flight.rehearsal import plot_rehearsal as plot_rehearsal
    from sixdof.plot.flight.staging import plot_bodies as plot_bodies
    from sixdof.plot.flight.staging import plot_landings as plot_landings
    from sixdof.plot.flight.staging import plot_separation as plot_separation
    from sixdof.plot.flight.staging import plot_timeline as plot_timeline
    from sixdof.plot.flight.views import plot_behind as plot_behind
    from sixdof.plot.flight.views import plot_map as plot_map
    from sixdof.plot.flight.views import plot_path as plot_path
    from sixdof.plot.loops.limit_cycle import plot_describing as plot_describing
    from sixdof.plot.loops.limit_cycle import plot_limit_cycle as plot_limit_cycle
    from sixdof.plot.loops.limit_cycle import plot_limit_cycles as plot_limit_cycles
    from sixdof.plot.loops.linear import plot_margins as plot_margins
    from sixdof.plot.loops.linear import plot_modes as plot_modes
    from sixdof.plot.loops.loop import plot_bode as plot_bode
    from sixdof.plot.loops.loop import plot_nichols as plot_nichols
    from sixdof.plot.loops.loop import plot_nyquist as plot_nyquist
    from sixdof.plot.loops.loop_closed import plot_disturbances as plot_disturbances
    from sixdof.plot.loops.loop_closed import plot_responses as plot_responses
    from sixdof.plot.loops.loop_closed import plot_root_locus as plot_root_locus
    from sixdof.plot.loops.loop_closed import plot_steps as plot_steps
    from sixdof.plot.loops.robustness import plot_gain_map as plot_gain_map
    from sixdof.plot.loops.robustness import plot_margin_spread as plot_margin_spread
    from sixdof.plot.loops.tuning import plot_lags as plot_lags
    from sixdof.plot.loops.tuning import plot_schedule as plot_schedule
    from sixdof.plot.loops.tuning import plot_tuning as plot_tuning
    from sixdof.plot.postflight.against import plot_against as plot_against
    from sixdof.plot.postflight.estimate import plot_estimate as plot_estimate
    from sixdof.plot.postflight.happened import plot_what_happened as plot_what_happened
    from sixdof.plot.postflight.log import plot_log as plot_log
    from sixdof.plot.postflight.recording import plot_recording as plot_recording
    from sixdof.plot.postflight.search import plot_search_map as plot_search_map
    from sixdof.plot.postflight.video import plot_swing as plot_swing
    from sixdof.plot.postflight.video import plot_video as plot_video
    from sixdof.plot.preflight.landing import plot_landing_map as plot_landing_map
    from sixdof.plot.preflight.landing import plot_rail_map as plot_rail_map
    from sixdof.plot.preflight.launch_card import plot_launch_card as plot_launch_card
    from sixdof.plot.preflight.motor_choice import plot_motor_choice as plot_motor_choice
    from sixdof.plot.preflight.stability import plot_stability_in_flight as plot_stability_in_flight
    from sixdof.plot.preflight.weathercock import plot_weathercock as plot_weathercock
    from sixdof.plot.preflight.wind_limit import plot_rail_for_wind as plot_rail_for_wind
    from sixdof.plot.preflight.wind_limit import plot_wind_limit as plot_wind_limit
    from sixdof.plot.preflight.wind_limit import plot_wind_shares as plot_wind_shares
    from sixdof.plot.uncertainty.causes import plot_rule_times as plot_rule_times
    from sixdof.plot.uncertainty.causes import plot_static_margins as plot_static_margins
    from sixdof.plot.uncertainty.comparison import plot_comparison as plot_comparison
    from sixdof.plot.uncertainty.comparison import plot_paired as plot_paired
    from sixdof.plot.uncertainty.comparison import plot_verdicts as plot_verdicts
    from sixdof.plot.uncertainty.ensemble import plot_ensemble as plot_ensemble
    from sixdof.plot.uncertainty.ensemble import plot_fan as plot_fan
    from sixdof.plot.uncertainty.ensemble import plot_histogram as plot_histogram
    from sixdof.plot.uncertainty.ensemble import plot_landing as plot_landing
    from sixdof.plot.uncertainty.sensitivity import plot_scatter_matrix as plot_scatter_matrix
    from sixdof.plot.uncertainty.sensitivity import plot_tornado as plot_tornado
    from sixdof.plot.uncertainty.statistics import plot_convergence as plot_convergence
    from sixdof.plot.uncertainty.statistics import plot_quantiles as plot_quantiles
    from sixdof.plot.vehicle.conventions import draw_axes as draw_axes
    from sixdof.plot.vehicle.conventions import draw_conventions as draw_conventions
    from sixdof.plot.vehicle.conventions import draw_fin_numbers as draw_fin_numbers
    from sixdof.plot.vehicle.drawing import draw_vehicle as draw_vehicle
    from sixdof.plot.workshop.as_built import plot_as_built as plot_as_built
    from sixdof.plot.workshop.as_built import plot_ballast as plot_ballast
    from sixdof.plot.workshop.charge import plot_charge as plot_charge
    from sixdof.plot.workshop.deployment import plot_deployment as plot_deployment
    from sixdof.plot.workshop.flutter import plot_flutter as plot_flutter
    from sixdof.plot.workshop.loads import plot_bending as plot_bending
    from sixdof.plot.workshop.loads import plot_structure as plot_structure
    from sixdof.plot.workshop.sizing import plot_canopy_size as plot_canopy_size
    from sixdof.plot.workshop.skin import plot_skin_temperature as plot_skin_temperature
    from sixdof.plot.workshop.static_firing import plot_static_firing as plot_static_firing
    from sixdof.plot.workshop.windows import plot_trigger_windows as plot_trigger_windows

show(
    __name__,
    {
        "Vehicle and conventions": ("draw_vehicle", "draw_axes", "draw_fin_numbers", "draw_conventions"),
        "One flight": (
            "plot_track",
            "plot_ground_track",
            "plot_tilt",
            "plot_fins",
            "plot_margin",
            "plot_mach",
            "plot_height",
            "plot_speed",
            "plot_acceleration",
            "plot_thrust",
            "plot_behind",
            "plot_path",
            "plot_map",
            "plot_flight",
            "plot_attitude_error",
            "plot_demands",
            "plot_estimate_error",
            "plot_waypoints",
            "plot_control",
            "plot_separation",
            "plot_bodies",
            "plot_timeline",
            "plot_landings",
            "plot_rehearsal",
            "plot_air",
        ),
        "Aerodynamics": (
            "plot_drag_build_up",
            "plot_stability",
            "plot_slopes",
            "plot_centres",
            "plot_pitch_damping",
            "plot_roll",
            "aero_figures",
            "plot_authority",
            "plot_authorities",
            "plot_trim",
            "plot_hinge_moments",
            "plot_survival",
        ),
        "Attitude loops": (
            "plot_schedule",
            "plot_lags",
            "plot_tuning",
            "plot_margin_spread",
            "plot_gain_map",
            "plot_modes",
            "plot_margins",
            "plot_bode",
            "plot_nyquist",
            "plot_nichols",
            "plot_root_locus",
            "plot_steps",
            "plot_disturbances",
            "plot_responses",
            "plot_limit_cycle",
            "plot_describing",
            "plot_limit_cycles",
        ),
        "Many flights": (
            "plot_histogram",
            "plot_fan",
            "plot_landing",
            "plot_ensemble",
            "plot_static_margins",
            "plot_rule_times",
            "plot_comparison",
            "plot_paired",
            "plot_verdicts",
            "plot_tornado",
            "plot_scatter_matrix",
            "plot_convergence",
            "plot_quantiles",
        ),
        "Before the flight": (
            "plot_weathercock",
            "plot_stability_in_flight",
            "plot_motor_choice",
            "plot_landing_map",
            "plot_rail_map",
            "plot_wind_limit",
            "plot_wind_shares",
            "plot_rail_for_wind",
            "plot_launch_card",
        ),
        "After a flight": ("plot_recording", "plot_log", "plot_against", "plot_estimate", "plot_what_happened", "plot_search_map", "plot_video", "plot_swing"),
        "In the workshop": (
            "plot_charge",
            "plot_canopy_size",
            "plot_deployment",
            "plot_trigger_windows",
            "plot_flutter",
            "plot_skin_temperature",
            "plot_structure",
            "plot_bending",
            "plot_as_built",
            "plot_ballast",
            "plot_static_firing",
        ),
    },
)
