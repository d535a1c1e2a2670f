/* Whole flights in scalar C, every body to the ground: the yardstick for the compiled kernel's speed.
 *
 * The same equations, tables, ticks, steps, events and outcomes as sixdof.core and the legs of sixdof.flight, function by function under the
 * same names; a column of a table, PanelColumn.SIN there, is PanelColumn_SIN here. `model.h` (structures, columns, sizes) is written by
 * c_rival.py from the kernel's own, so that nothing is copied by hand. Left out, because the missions it flies never come there: turbulence
 * and gusts, a round Earth, steps chosen by their error, laws of the user's own, logs, pieces of a body whose harness has failed.
 */

#include <math.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "model.h"

#include "algebra.h"
#include "body.h"
#include "forces.h"
#include "motion.h"
#include "computer.h"
#include "descent.h"
#include "observe.h"

/* ------------------------------------------------------------------ one leg of a flight */

/* What a leg takes up and leaves: sixdof.core.columns.Handover. */
typedef struct {
    double t, t_tick, t_switch, ignited, drag_area;
    long tick, stride;
    int phase, climbing, switched, goes_on, cause, which;
    State s;
} Handover;

/* All of a leg that its parts share. */
typedef struct {
    const Model *model;
    Work *work;
    Servos *servos;
    Handover hand;
    Drawn drawn;
    Rig rig;
    Body body;
    Burn burn;
    Loads load;
    State s, k1;
    Quat frame;
    Chance chance;
    double (*events)[EventColumn_WIDTH], *summary, t, t_tick, t_switch, t_stretch, t_separation, ignited, burn_time, impulse;
    long tick, stride, segment, controls, first_trace;
    int phase, passed_apogee, switched, which, cause, harness;
    const Draw *draw;
} Flying;

static void reset(Work *w, const Model *m, const Draw *draw, Chance chance, const State *s, Events events, double *summary) {
    const double never[] = {Outcome_RAIL_DEPARTURE_SPEED, Outcome_RAIL_DEPARTURE_INCIDENCE, Outcome_RAIL_DEPARTURE_MARGIN, Outcome_BURNOUT_AIRSPEED,
                            Outcome_BURNOUT_HEIGHT, Outcome_OPENING_AIRSPEED, Outcome_WAYPOINT_MISS_MAX};
    Servos *x = &w->servos;
    fill(w->sensed, Sensed_WIDTH, 0.0);
    fill(w->command, Demand_WIDTH, 0.0);
    fill(w->memory, ControlMemory_WIDTH, 0.0);
    fill(w->fin_command, MOST_FINS, 0.0);
    fill(w->tally, Tally_WIDTH, 0.0);
    w->sensed[Sensed_FRAME_W] = w->sensed[Sensed_COMMANDED_W] = 1.0;
    memset(x, 0, sizeof *x);
    memset(w->history, 0, sizeof w->history);
    memset(w->seen, 0, sizeof w->seen);
    for (long i = 0; i < m->computer.mixer.n[0]; i++) {
        x->targets[i] = x->motors[MotorRow_ANGLE_START][i] = draw->centring.at[i];
        for (int k = FinRow_START; k <= FinRow_NEXT; k++) x->fins[k][i] = draw->centring.at[i];
        x->fins[FinRow_CARRIED][i] = 1.0;
    }
    start_notice(w->notice, (double)(m->leg.last - m->leg.first));
    fill(w->rules[0], MOST_RULES * RuleState_WIDTH, -1.0);
    for (int i = 0; i < m->leg.stages; i++)
        w->stage[i][StageColumn_IGNITE] = w->stage[i][StageColumn_SEPARATE] = w->stage[i][StageColumn_BURNOUT] = -1.0;
    fill(w->pull, MOST_CANOPIES, 0.0);
    fill(w->switches, Switch_WIDTH, 0.0);
    w->switches[Switch_MODE] = (double)m->computer.guidance.start_mode;
    fill(w->deployed, MOST_CANOPIES, -1.0);
    fill(w->passed[0], MOST_WAYPOINTS * PassedColumn_WIDTH, NAN);
    start_guidance(w->guidance, rail_attitude(m->rail.elevation, m->rail.azimuth));
    draw_constants(&m->computer.sensors, chance, w->constants);
    align(w->estimate, s->q, s->r, &m->computer.estimator, w->constants, chance);
    fill(events[0], MOST_EVENTS * EventColumn_WIDTH, NAN);
    fill(summary, Outcome_WIDTH, 0.0);
    for (size_t i = 0; i < sizeof never / sizeof *never; i++) summary[(int)never[i]] = NAN;
    summary[Outcome_STATIC_MARGIN_MIN] = INFINITY;
}

static double ignition_time(const double *row) {
    if (row[StageColumn_IGNITE] < 0.0 || row[StageColumn_NO_IGNITION] > 0.5) return INFINITY;
    return row[StageColumn_IGNITE] + row[StageColumn_IGNITION_DELAY];
}

static void next_separation(Flying *f) {
    const Leg *leg = &f->model->leg;
    f->t_separation = INFINITY;
    for (long k = leg->first + 1; k <= leg->last; k++) {
        const double *row = f->work->stage[k];
        double own = row[StageColumn_SEPARATE] + row[StageColumn_SEPARATION_DELAY], upper = ignition_time(f->work->stage[k - 1]);
        if (row[StageColumn_SEPARATE] >= 0.0 && row[StageColumn_NO_SEPARATION] < 0.5 && own < f->t_separation)
            f->t_separation = own, f->which = (int)k, f->cause = BY_COMMAND;
        if (upper < f->t_separation) f->t_separation = upper, f->which = (int)k, f->cause = BY_UPPER_MOTOR;
    }
}

static int broken_harness(const Flying *f) {
    for (long c = 0; c < f->rig.canopies; c++)
        if (f->work->deployed[c] == f->t && f->work->canopy[c][CanopyColumn_SNATCH] > f->work->canopy[c][CanopyColumn_HARNESS_STRENGTH]) return (int)c;
    return -1;
}

/* when lines not stretched so far will be */
static double next_stretch(const Flying *f, int phase) {
    double soon = INFINITY;
    if (phase >= FREE)
        for (long c = 0; c < f->rig.canopies; c++)
            if (isnan(f->events[Event_WIDTH + f->rig.canopies + c][EventColumn_TIME])) soon = least(soon, line_stretch(&f->rig, c));
    return soon;
}

static void note_event(Flying *f, long row, double t) { write_event(f->events[row], t, &f->s, &f->body, &f->drawn, &f->load, f->work->sensed); }

static void stretch(Flying *f) {
    for (long c = 0; c < f->rig.canopies; c++)
        if (f->t >= line_stretch(&f->rig, c) - INSTANT) note_event(f, Event_WIDTH + f->rig.canopies + c, f->t);
    if (!isfinite(f->summary[Outcome_OPENING_AIRSPEED])) f->summary[Outcome_OPENING_AIRSPEED] = f->load.speed;
    if (f->phase != CANOPY) f->rig.before = flown_area(&f->drawn, &f->body, &f->load);
    f->phase = CANOPY;
    f->t_stretch = next_stretch(f, CANOPY);
}

static void write_trace(Flying *f) {
    long i = f->tick - f->first_trace;
    if (i < 0 || i >= TRACE_ROWS) return;
    Mat m = matrix_of(f->s.q);
    double *row = f->work->trace[i];
    row[TraceColumn_TIME] = f->t;
    put_vector(row + TraceColumn_NOSE, add(f->s.r, to_world(m, arm(f->body.cg, f->model->leg.nose_x))));
    put_vector(row + TraceColumn_BASE, add(f->s.r, to_world(m, arm(f->body.cg, f->model->leg.base_x))));
}

/* The flight computer's tick, and what is seen and noted at it; return an Ending, or -1. */
static int at_tick(Flying *f) {
    const Model *model = f->model;
    Work *w = f->work;
    double t = f->t, period = model->computer.period;
    State *s = &f->s;
    fail_fins(t, &model->computer.failure, f->servos);
    if (f->phase == CANOPY)
        calm_loads(&f->drawn, s, &f->load);
    else
        loads(&f->drawn, s, &f->body, f->servos->fins, FinRow_START, &f->load);
    if (!(isfinite(s->r.z) && isfinite(s->v.x + s->v.y + s->v.z) && isfinite(s->w.x + s->w.y + s->w.z))) return Ending_DIVERGED;
    if (f->phase == HOLD) {
        f->k1 = (State){{0, 0, 0}, {0, 0, 0}, {0, 0, 0, 0}, {0, 0, 0}};
    } else if (f->phase == CANOPY) {
        double lines, airframe;
        areas_at(t, &f->rig, &lines, &airframe);
        f->k1 = falling_rate(s, &f->drawn, &f->body, lines, airframe, f->rig.fore_x);
    } else {
        f->k1 = state_rate(&f->drawn, f->phase, s, &f->body, &f->load);
    }
    Vec3 c = cross(model->world.earth_rate, s->v), a = add(f->k1.v, scale(c, 2.0));
    a.z += f->load.gravity;
    Vec3 force = to_body(f->load.m, a);
    run_tick(w, &f->drawn, t, f->tick, f->stride, s, force, f->load.m, f->frame, f->chance);
    for (long p = 0; p < model->aero.panel.n[0]; p++) {
        long control = (long)row_of(&model->aero.panel, p)[PanelColumn_CONTROL];
        if (control >= 0) f->servos->hinge[control] = f->phase == CANOPY ? 0.0 : w->seen[p][SeenColumn_HINGE];
    }
    if (w->switches[Switch_FINS] > 0.5)
        note_event(f, Event_FINS_ENABLED, t);
    else if (f->events[Event_FINS_ENABLED][EventColumn_TIME] >= 0.0)
        note_event(f, Event_FINS_DISABLED, t);
    for (long k = 0; k < f->rig.canopies; k++)
        if (w->deployed[k] >= 0.0 && f->phase >= FREE) note_event(f, Event_WIDTH + k, t);
    f->t_stretch = next_stretch(f, f->phase);
    if (t >= f->t_stretch - INSTANT) stretch(f);
    watch(f->summary, f->phase, !f->passed_apogee, s, &f->body, &f->drawn, &f->load, force, w);
    if (f->phase >= FREE) f->harness = broken_harness(f);
    next_separation(f);
    if (f->phase == FREE) {
        const Leg *leg = &model->leg;
        if (f->first_trace >= 0) write_trace(f);
        double tension = -joint_force(leg, &f->drawn, &f->load, force);
        if (tension > (leg->retention_force < INFINITY ? leg->retention_force : 0.0)) {
            note_event(f, Event_DRAG_SEPARATION, t);
            if (tension > leg->retention_force && w->stage[leg->last][StageColumn_NO_SEPARATION] < 0.5 && t < f->t_separation)
                f->t_separation = t, f->which = (int)leg->last, f->cause = BY_DRAG;
        }
    }
    f->stride = f->phase == CANOPY && norm(s->w) * FALL_STRIDE * period < 0.25 && !opens(t, &f->rig) ? FALL_STRIDE : 1;
    double late = largest(f->drawn.servo.delay - (long)(f->drawn.servo.delay / period + 1e-9) * period, 0.0);
    f->t_switch = t + late;
    f->switched = late <= 0.0;
    pick_targets(&f->drawn.servo, period, f->draw->centring.at, f->controls, f->servos, f->tick, late > 0.0);
    f->tick += f->stride;
    f->t_tick = f->tick * period;
    return -1;
}

/* The next bracket of a root by the Illinois rule. */
typedef struct {
    double low, high, g_low, g_high;
    int last;
} Bracket;
static void narrow(Bracket *b, double x, double g) {
    if (g > 0.0) {
        if (b->last > 0) b->g_high *= 0.5;
        b->low = x, b->g_low = g, b->last = 1;
    } else {
        if (b->last < 0) b->g_low *= 0.5;
        b->high = x, b->g_high = g, b->last = -1;
    }
}

/* The moment inside a step of h, whose end is s1, at which an event function crosses zero. */
static double cut_step(Flying *f, int kind, double h, const State *k1, State *s1, Body *end) {
    const Grains *grains = &f->drawn.grains;
    Bracket b = {0.0, h, gap(&f->drawn, kind, &f->s), gap(&f->drawn, kind, s1), 0};
    double x = h;
    for (int i = 0; i < 60; i++) {
        x = (b.low * b.g_high - b.high * b.g_low) / (b.g_high - b.g_low);
        if (!(b.low < x && x < b.high)) x = 0.5 * (b.low + b.high);
        Body middle;
        move_fins(&f->drawn.servo, f->controls, f->servos, x);
        body_at(f->t + x, &f->burn, grains, end);
        body_at(f->t + 0.5 * x, &f->burn, grains, &middle);
        *s1 = rk4_step(&f->drawn, f->phase, &f->s, x, k1, &f->body, &middle, end, f->servos->fins);
        double g = gap(&f->drawn, kind, s1);
        narrow(&b, x, g);
        if (b.high - b.low < 1e-12 * h || g == 0.0) break;
    }
    return x;
}

static double reach_ground(Flying *f, double h, State *s1, const Body *middle, const Body *end) {
    Bracket b = {0.0, h, f->s.r.z, s1->r.z, 0};
    double x = h;
    for (int i = 0; i < 60; i++) {
        x = (b.low * b.g_high - b.high * b.g_low) / (b.g_high - b.g_low);
        *s1 = fall_step(f->t, &f->s, x, &f->drawn, &f->body, middle, end, &f->rig);
        narrow(&b, x, s1->r.z);
        if (b.high - b.low < 1e-12 * h || s1->r.z == 0.0) break;
    }
    return x;
}

/* One step on the rail or in free flight from f->t to *t_next, shortened where something happens; return an Ending, or -1. */
static int step_on(Flying *f, int fresh, double *t_next, const Body *middle, Body *end, long *happened) {
    double h = *t_next - f->t;
    const State *k1 = fresh ? &f->k1 : NULL;
    int status = -1, kind = f->phase == ON_RAIL ? GAP_FORE : f->phase == PIVOT ? GAP_AFT : f->passed_apogee ? GAP_GROUND : GAP_CLIMB;
    move_fins(&f->drawn.servo, f->controls, f->servos, h);
    State s1 = rk4_step(&f->drawn, f->phase, &f->s, h, k1, &f->body, middle, end, f->servos->fins);
    if ((f->phase == ON_RAIL || f->phase == PIVOT) && gap(&f->drawn, GAP_SLIP, &s1) < 0.0) kind = GAP_SLIP;
    if (gap(&f->drawn, kind, &s1) <= 0.0 && !(kind == GAP_GROUND && s1.v.z > 0.0)) {
        *t_next = f->t + cut_step(f, kind, h, k1, &s1, end);
        if (kind == GAP_SLIP && f->phase == PIVOT)
            status = Ending_NO_LIFTOFF;
        else if (kind == GAP_SLIP)
            f->phase = HOLD, s1.v = (Vec3){0, 0, 0};
        else if (kind == GAP_FORE)
            f->phase = PIVOT, *happened = Event_FORE_GUIDE_LEAVES;
        else if (kind == GAP_AFT)
            f->phase = FREE, *happened = Event_RAIL_DEPARTURE;
        else if (kind == GAP_CLIMB)
            f->passed_apogee = 1, *happened = Event_APOGEE;
        else
            status = Ending_LANDED;
    }
    f->s = s1;
    watch_servos(f->work, f->controls, &f->drawn.servo, *t_next - f->t);
    keep_fins(f->controls, f->servos);
    return status;
}

static int fall_on(Flying *f, double *t_next, const Body *middle, const Body *end, long *happened, double *t_happened) {
    double h = *t_next - f->t;
    int status = -1, lost;
    State s1 = fall_step(f->t, &f->s, h, &f->drawn, &f->body, middle, end, &f->rig);
    if (s1.v.z <= 0.0 && !f->passed_apogee) {
        double climb = f->s.v.z;
        f->passed_apogee = 1, *happened = Event_APOGEE;
        *t_happened = f->t + (climb > s1.v.z ? climb / (climb - s1.v.z) : 0.0) * h;
    }
    if (s1.r.z <= 0.0 && s1.v.z < 0.0) {
        *t_next = f->t + reach_ground(f, h, &s1, middle, end);
        status = Ending_LANDED;
    }
    f->harness = (int)pull_canopies(*t_next, &s1, &f->drawn, &f->rig, f->work->pull, &lost);
    if (lost) f->rig.hanging = f->rig.before = f->model->tumble_area;
    f->s = s1;
    return status;
}

static int hold_on(Flying *f, double *t_next, Body *end, long *happened) {
    int status = -1;
    Loads l;
    loads(&f->drawn, &f->s, end, f->servos->fins, FinRow_START, &l);
    double pull1 = rail_pull(&f->drawn, &f->s, end, &l);
    if (pull1 > 0.0) {
        loads(&f->drawn, &f->s, &f->body, f->servos->fins, FinRow_START, &l);
        double pull0 = rail_pull(&f->drawn, &f->s, &f->body, &l);
        *t_next = pull0 >= 0.0 ? f->t : f->t + (*t_next - f->t) * pull0 / (pull0 - pull1);
        body_at(*t_next, &f->burn, &f->drawn.grains, end);
        f->phase = ON_RAIL, *happened = Event_LIFTOFF;
    } else if (!(f->burn.burning > 0.5)) {
        status = Ending_NO_LIFTOFF;
    }
    move_fins(&f->drawn.servo, f->controls, f->servos, *t_next - f->t);
    keep_fins(f->controls, f->servos);
    return status;
}

static void note(Flying *f, long row, double t) {
    double *out = f->summary;
    loads(&f->drawn, &f->s, &f->body, f->servos->fins, FinRow_START, &f->load);
    note_event(f, row, t);
    if (row == Event_RAIL_DEPARTURE) {
        out[Outcome_RAIL_DEPARTURE_SPEED] = norm(f->s.v);
        out[Outcome_RAIL_DEPARTURE_INCIDENCE] = incidence_of(&f->load);
        out[Outcome_RAIL_DEPARTURE_MARGIN] = static_margin(&f->drawn, f->load.mach, f->body.cg);
    } else if (row == Event_BURNOUT) {
        out[Outcome_BURNOUT_AIRSPEED] = f->load.speed, out[Outcome_BURNOUT_HEIGHT] = f->load.height;
    } else if (row == Event_APOGEE) {
        out[Outcome_APOGEE_HEIGHT] = f->load.height, out[Outcome_APOGEE_TIME] = t;
        out[Outcome_APOGEE_EAST] = f->s.r.x, out[Outcome_APOGEE_NORTH] = f->s.r.y;
    }
}

/* Steps up to the next tick; return an Ending, or -1. */
static int to_next_tick(Flying *f, int fresh) {
    const Model *model = f->model;
    const Leg *leg = &model->leg;
    double period = model->computer.period, longest = period / model->computer.steps_per_tick;
    long segments = model->thrust.time.n[0];
    while (f->t < f->t_tick) {
        if (f->phase >= FREE && f->t >= f->t_separation - INSTANT) return Ending_SEPARATED;
        if (f->harness >= 0) return Ending_HARNESS_BROKEN;
        if (f->t >= f->t_stretch - INSTANT) {
            loads(&f->drawn, &f->s, &f->body, f->servos->fins, FinRow_START, &f->load);
            stretch(f);
        }
        int breaks = f->burn.burning > 0.5, status = -1;
        double t_break = INFINITY, stop, most = longest, t_happened = -1.0;
        if (f->segment < 0) t_break = largest(ignition_time(f->work->stage[leg->last]), f->t);
        if (breaks) t_break = f->ignited + model->thrust.time.at[f->segment + 1] * f->burn_time;
        stop = least(f->t_tick, t_break);
        if (!f->switched && f->t_switch < stop) stop = f->t_switch;
        if (f->phase >= FREE) stop = least(stop, least(f->t_separation, f->t_stretch));
        if (f->phase == CANOPY) {
            double lines, airframe, lines1, airframe1;
            stop = least(stop, next_change(f->t, &f->rig));
            areas_at(f->t, &f->rig, &lines, &airframe);
            areas_at(stop - INSTANT, &f->rig, &lines1, &airframe1);
            most = longest_fall_step(&f->s, &f->drawn, &f->body, largest(lines, lines1), largest(airframe, airframe1), f->rig.fore_x);
            most = least(FALL_STRIDE * period, most);
        }
        double t_next = f->t + most;
        if (t_next > stop - INSTANT) t_next = stop;
        long happened = -1, burnt = -1;
        if (t_next > f->t) {
            Body middle = f->body, end = f->body;
            if (breaks) {
                body_at(f->t + 0.5 * (t_next - f->t), &f->burn, &f->drawn.grains, &middle);
                body_at(t_next, &f->burn, &f->drawn.grains, &end);
            }
            if (f->phase == HOLD)
                status = hold_on(f, &t_next, &end, &happened);
            else if (f->phase == CANOPY)
                status = fall_on(f, &t_next, &middle, &end, &happened, &t_happened);
            else
                status = step_on(f, fresh, &t_next, &middle, &end, &happened);
            f->body = end;
        }
        f->t = t_next;
        fresh = 0;
        if (!f->switched && f->t >= f->t_switch - INSTANT) {
            f->switched = 1;
            pick_targets(&f->drawn.servo, period, f->draw->centring.at, f->controls, f->servos, f->tick - f->stride, 0);
        }
        if (t_break < INFINITY && f->t >= t_break - INSTANT) {
            if (f->segment < 0) f->ignited = f->t;
            f->burn = burn_segment(&model->thrust, ++f->segment, f->ignited, f->draw);
            body_at(f->t, &f->burn, &f->drawn.grains, &f->body);
            if (f->segment == 0) burnt = leg->ignition_row;
            if (f->segment >= segments - 1) burnt = leg->burnout_row, f->work->stage[leg->last][StageColumn_BURNOUT] = f->t;
        }
        if (happened >= 0) note(f, happened, t_happened < 0.0 ? f->t : t_happened);
        if (burnt >= 0) note(f, burnt, t_happened < 0.0 ? f->t : t_happened);
        if (status >= 0) return status;
    }
    return -1;
}

static void close_flight(Flying *f, int landed) {
    double *out = f->summary;
    const Table *waypoint = &f->model->computer.guidance.waypoint;
    out[Outcome_LANDING_EAST] = landed ? f->s.r.x : NAN, out[Outcome_LANDING_NORTH] = landed ? f->s.r.y : NAN;
    out[Outcome_LANDING_GROUND_SPEED] = landed ? norm(f->s.v) : NAN;
    if (!f->passed_apogee) out[Outcome_APOGEE_HEIGHT] = out[Outcome_APOGEE_TIME] = out[Outcome_APOGEE_EAST] = out[Outcome_APOGEE_NORTH] = NAN;
    out[Outcome_FLIGHT_TIME] = f->t;
    finish(out, f->work->tally);
    for (long k = 0; k < waypoint->n[0]; k++) {
        const double *passed = f->work->passed[k];
        if (!isfinite(passed[PassedColumn_TIME])) continue;
        double *worst = &out[Outcome_WAYPOINT_MISS_MAX], miss = passed[PassedColumn_MISS];
        *worst = isfinite(*worst) ? largest(*worst, miss) : miss;
        if (miss <= row_of(waypoint, k)[WaypointColumn_RADIUS]) out[Outcome_WAYPOINTS_CAPTURED] += 1.0;
    }
}

/* Fly one leg of a body: sixdof.core.flight.fly. Return its Ending; `hand` says where it ended. */
static int fly_leg(const Model *model, const Draw *draw, Work *w, Handover *hand, Events events, double *summary) {
    Flying *f = &(Flying){.model = model, .work = w, .servos = &w->servos, .draw = draw, .events = events, .summary = summary, .harness = -1,
                          .controls = model->computer.mixer.n[0], .burn_time = draw->burn_time, .frame = launch_frame(model->computer.azimuth),
                          .chance = {(uint64_t)draw->seed_high * 0x100000000u + (uint64_t)draw->seed_low, (uint64_t)draw->flight}};
    draw_model(model, draw, w->air, w->seen, &f->drawn);
    f->s = (State){f->drawn.start, {0, 0, 0}, rail_attitude(draw->elevation, draw->azimuth), {0, 0, 0}};
    f->s.w = to_body(matrix_of(f->s.q), model->world.earth_rate);
    if (hand->goes_on) {
        f->s = hand->s;
    } else {
        reset(w, model, draw, f->chance, &f->s, events, summary);
        *hand = (Handover){.phase = HOLD, .climbing = 1, .ignited = w->stage[model->leg.last][StageColumn_NO_IGNITION] > 0.5 ? NOT_IGNITED : 0.0};
    }
    drawn_gains(&model->computer.gains, draw, w->gains);
    f->t = hand->t, f->tick = hand->tick, f->phase = hand->phase, f->t_tick = hand->t_tick, f->t_switch = hand->t_switch;
    f->switched = hand->switched, f->stride = hand->stride > 1 ? hand->stride : 1, f->passed_apogee = !hand->climbing, f->ignited = hand->ignited;
    f->first_trace = hand->goes_on ? f->tick : -1;
    f->segment = segment_at(f->t, f->ignited, &model->thrust, draw->burn_time);
    f->burn = burn_segment(&model->thrust, f->segment, f->ignited, draw);
    body_at(f->t, &f->burn, &f->drawn.grains, &f->body);
    f->rig = (Rig){model->canopy.n[0], w->canopy, w->deployed, model->tumble_area, hand->drag_area, model->leg.nose_x};
    f->t_stretch = next_stretch(f, f->phase);
    next_separation(f);
    double top = (model->world.air.n[0] - 1) / model->world.air_per_metre + model->world.air_z0;
    int status = -1, ticking = f->t >= f->t_tick - INSTANT;
    while (status < 0) {
        int fresh = ticking;
        if (ticking && (status = at_tick(f)) >= 0) break;
        ticking = 1;
        status = to_next_tick(f, fresh);
        if (status < 0 && f->t >= model->time_limit) status = Ending_OUT_OF_TIME;
        if (status < 0 && f->s.r.z > top) status = Ending_ABOVE_AIR;
    }
    *hand = (Handover){.t = f->t, .t_tick = f->t_tick, .t_switch = f->t_switch, .ignited = f->ignited, .drag_area = f->rig.before, .tick = f->tick,
                       .stride = f->stride, .phase = f->phase, .climbing = !f->passed_apogee, .switched = f->switched, .cause = f->cause,
                       .which = f->which, .s = f->s, .goes_on = status == Ending_SEPARATED || status == Ending_HARNESS_BROKEN};
    if (status == Ending_SEPARATED || status == Ending_LANDED) {
        loads(&f->drawn, &f->s, &f->body, w->servos.fins, FinRow_START, &f->load);
        note_event(f, status == Ending_LANDED ? Event_LANDING : model->leg.separation_row + f->which - 1, f->t);
    }
    if (!hand->goes_on) close_flight(f, status == Ending_LANDED);
    return status;
}

/* ------------------------------------------------------------------ the bodies of a flight */

/* The stages first .. last flying together, as a flight's draw makes them. snatch: harnesses' share and load of each canopy. */
typedef struct {
    Model model;
    Draw draw;
    double harness[MOST_CANOPIES][2];
} Segment;
/* charge: impulse of each joint, N s. turn: tilt of the body behind it about y and z, rad. reach: sum of the radii at it. */
typedef struct {
    long stages;
    Table canopy, stage, rule_delay, canopy_stage, charge, turn, reach;
    const Segment *segment[MOST_STAGES][MOST_STAGES];
} Plan;
typedef struct {
    int first, last, status, since; /* since: the joint whose separation began its leg, -1 */
    Work *work;
    Handover hand;
    Events *events;
    double *summary;
} FlyingBody;
/* What a flight leaves of each body, and of each joint: time, cause, speed apart, least clearance, whether they met again. */
typedef struct {
    Events events[MOST_STAGES];
    double summary[MOST_STAGES][Outcome_WIDTH], joint[MOST_STAGES][5];
    long status[MOST_STAGES];
} Flown;

static void turning(const double *turn, Mat *out) {
    double angle = hypot(turn[0], turn[1]);
    *out = (Mat){1, 0, 0, 0, 1, 0, 0, 0, 1};
    if (angle == 0.0) return;
    double y = turn[0] / angle, z = turn[1] / angle, s = sin(angle), c = 1.0 - cos(angle);
    *out = (Mat){1.0 - c, -s * z, s * y, s * z, 1.0 - c * z * z, c * y * z, -s * y, c * y * z, 1.0 - c * y * y};
}

/* sixdof.flight.separation.divide: momentum and energy across a joint. Return the speed apart along the axis. */
static double divide(const Handover *hand, const Segment *stack, const Segment *fore, const Segment *aft, double impulse, const double *turn, Handover *ahead,
                     Handover *behind) {
    Body whole = mass_now(&stack->model, &stack->draw, hand->t, hand->ignited);
    Body of[2] = {mass_now(&fore->model, &fore->draw, hand->t, NOT_IGNITED), mass_now(&aft->model, &aft->draw, hand->t, hand->ignited)};
    Vec3 d[2] = {offset(whole.cg, of[0].cg)};
    d[1] = scale(d[0], -of[0].mass / of[1].mass);
    Mat m = matrix_of(hand->s.q), bent;
    turning(turn, &bent);
    Vec3 rate = sub(hand->s.w, to_body(m, stack->model.world.earth_rate));
    Handover *halves[2] = {ahead, behind};
    for (int i = 0; i < 2; i++) {
        double push = i == 0 ? impulse : -impulse;
        Handover *mine = halves[i];
        *mine = *hand;
        Vec3 off = {0.0, whole.cg.y + d[i].y, whole.cg.z + d[i].z}, couple = cross(scale(off, -1.0), (Vec3){push, 0, 0});
        Vec3 gain = i == 0 ? sym_times(of[0].inverse, couple) : to_world(bent, sym_times(of[1].inverse, to_body(bent, couple)));
        mine->s.r = add(mine->s.r, to_world(m, d[i]));
        mine->s.v = add(mine->s.v, to_world(m, add(cross(rate, d[i]), (Vec3){push / of[i].mass, 0, 0})));
        mine->s.w = add(mine->s.w, gain);
    }
    double angle = hypot(turn[0], turn[1]), k = angle > 0.0 ? sin(0.5 * angle) / angle : 0.0;
    ahead->ignited = NOT_IGNITED;
    behind->s.q = multiply(behind->s.q, (Quat){cos(0.5 * angle), 0.0, k * turn[0], k * turn[1]});
    behind->s.w = to_body(bent, behind->s.w);
    return to_body(m, sub(ahead->s.v, behind->s.v)).x;
}

static double segment_distance(Vec3 p0, Vec3 p1, Vec3 q0, Vec3 q1) {
    Vec3 d = sub(p1, p0), e = sub(q1, q0), r = sub(p0, q0);
    double a = dot(d, d), c = dot(e, e), f = dot(e, r), b = dot(d, e), g = dot(d, r), across = a * c - b * b;
    double s = across > 1e-12 * a * c ? clip((b * f - g * c) / across, 0.0, 1.0) : 0.0, t = (b * s + f) / c;
    if (t < 0.0) s = clip(-g / a, 0.0, 1.0);
    if (t > 1.0) s = clip((b - g) / a, 0.0, 1.0);
    return norm(sub(add(r, scale(d, s)), scale(e, clip(t, 0.0, 1.0))));
}

/* sixdof.flight.separation.gap_history: the least clearance once apart, and whether the bodies met again. */
static void gap_history(const Work *ahead, const Work *behind, double reach, double *out) {
    double least_gap = INFINITY;
    int opened = 0, met = 0;
    for (long i = 0; i < TRACE_ROWS; i++) {
        const double *a = ahead->trace[i], *b = behind->trace[i];
        if (!(isfinite(a[TraceColumn_TIME]) && isfinite(b[TraceColumn_TIME]))) continue;
        Vec3 nose = vector_at(a + TraceColumn_NOSE), base = vector_at(a + TraceColumn_BASE), axis = sub(nose, base);
        Vec3 fore = vector_at(b + TraceColumn_NOSE), tail = vector_at(b + TraceColumn_BASE);
        axis = scale(axis, 1.0 / norm(axis));
        double along = least(dot(sub(base, fore), axis), dot(sub(base, tail), axis));
        double clearance = largest(along, segment_distance(nose, base, fore, tail) - reach);
        opened |= clearance > 0.002;
        if (opened) least_gap = least(least_gap, clearance);
        met |= (opened && clearance <= 0.0) || clearance < -0.001;
    }
    out[3] = opened ? least_gap : NAN;
    out[4] = met;
}

static int is_stretched(const Work *w, long c, double t) { return w->deployed[c] >= 0.0 && w->deployed[c] + w->canopy[c][CanopyColumn_WAIT] <= t + INSTANT; }

/* What a body becomes at a joint: `body` goes on as what is ahead of it; return what stays behind. */
static FlyingBody separate(const Plan *plan, FlyingBody *body, Work *other, Flown *out) {
    int k = body->hand.which;
    const Segment *fore = plan->segment[body->first][k - 1], *aft = plan->segment[k][body->last];
    FlyingBody behind = {k, body->last, 0, k, other, {0}, &out->events[k], out->summary[k]};
    Handover hand = body->hand;
    double *joint = out->joint[k], *drag = (*body->events)[Event_DRAG_SEPARATION];
    joint[0] = hand.t, joint[1] = hand.cause;
    joint[2] = divide(&hand, plan->segment[body->first][body->last], fore, aft, hand.cause == BY_COMMAND ? plan->charge.at[k] : 0.0,
                      row_of(&plan->turn, k), &body->hand, &behind.hand);
    fill(drag, EventColumn_WIDTH, NAN);
    double *air = other->air;
    memcpy(other, body->work, offsetof(Work, gains)); /* what the flight computer knows */
    other->air = air;
    memcpy(behind.events, body->events, sizeof(Events));
    memcpy(behind.summary, body->summary, sizeof(double) * Outcome_WIDTH);
    body->last = k - 1, body->since = k;
    FlyingBody *both[2] = {body, &behind};
    for (int i = 0; i < 2; i++) {
        FlyingBody *one = both[i];
        int hangs = 0;
        for (long c = 0; c < plan->canopy.n[0]; c++) {
            int own = plan->canopy_stage.at[c] >= one->first && plan->canopy_stage.at[c] <= one->last;
            hangs |= own && is_stretched(one->work, c, hand.t);
        }
        one->hand.phase = hangs ? CANOPY : FREE;
        one->hand.drag_area = least(one->hand.drag_area, (i == 0 ? fore : aft)->model.tumble_area);
    }
    for (long c = 0; c < plan->canopy.n[0]; c++) {
        Work *w = plan->canopy_stage.at[c] >= k ? body->work : other;
        w->canopy[c][CanopyColumn_FAILS] = 1.0;
        if (w->deployed[c] >= 0.0) w->deployed[c] = LOST;
    }
    return behind;
}

/* Fly a mission once, all bodies to the ground; return the front body's Ending. works: one Work a stage. */
int fly_mission(const Plan *plan, Work *works, Flown *out) {
    int count = 1;
    FlyingBody bodies[MOST_STAGES] = {{0, (int)plan->stages - 1, 0, -1, &works[0], {0}, &out->events[0], out->summary[0]}};
    Work *w = &works[0];
    memcpy(w->canopy, plan->canopy.at, sizeof(double) * plan->canopy.n[0] * CanopyColumn_WIDTH);
    memcpy(w->stage, plan->stage.at, sizeof(double) * plan->stages * StageColumn_WIDTH);
    memcpy(w->rule_delay, plan->rule_delay.at, sizeof(double) * plan->rule_delay.n[0]);
    for (int i = 0; i < count; i++) {
        FlyingBody *body = &bodies[i];
        for (;;) {
            const Segment *segment = plan->segment[body->first][body->last];
            for (long c = 0; c < plan->canopy.n[0]; c++) {
                body->work->canopy[c][CanopyColumn_HARNESS_SHARE] = segment->harness[c][0];
                body->work->canopy[c][CanopyColumn_SNATCH] = segment->harness[c][1];
            }
            fill(body->work->trace[0], TRACE_ROWS * TraceColumn_WIDTH, NAN);
            body->status = fly_leg(&segment->model, &segment->draw, body->work, &body->hand, *body->events, body->summary);
            if (body->status != Ending_SEPARATED) break;
            bodies[count] = separate(plan, body, &works[body->hand.which], out);
            count++;
        }
        out->status[body->first] = body->status;
    }
    for (int i = 1; i < count; i++) { /* the least clearance between what a joint held together */
        const FlyingBody *ahead = NULL;
        for (int j = 0; j < count; j++)
            if (j != i && bodies[j].since == bodies[i].first) ahead = &bodies[j];
        int k = bodies[i].first;
        if (ahead && bodies[i].since == k) gap_history(ahead->work, bodies[i].work, plan->reach.at[k], out->joint[k]);
    }
    return bodies[0].status;
}

/* Scratch for fly_mission, freed by free. */
Work *make_works(const Plan *plan) {
    const Table *air = &plan->segment[0][plan->stages - 1]->model.world.air;
    size_t own = sizeof(Work) * MOST_STAGES, table = sizeof(double) * air->n[0] * AirColumn_WIDTH;
    char *memory = calloc(1, own + MOST_STAGES * table);
    for (int i = 0; memory && i < MOST_STAGES; i++) ((Work *)memory)[i].air = (double *)(memory + own + i * table);
    return (Work *)memory;
}

int fly_many(const Plan *plan, Work *works, Flown *out, long count) {
    int status = 0;
    for (long i = 0; i < count; i++) status |= fly_mission(plan, works, out);
    return status;
}

size_t size_of_flown(void) { return sizeof(Flown); }
