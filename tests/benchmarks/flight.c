/* The ascent from the rail to apogee in scalar C: the yardstick for the compiled kernel's speed.
 *
 * Same equations, tables, ticks, RK4 steps and running outcomes as sixdof.core for a flight like the demo's: ideal
 * sensors, an attitude profile over time, built-in control law, servos with everything they can have. Left out:
 * vortices between sets of fins, servos that fail, sensors and estimator, waypoints, laws of the user's own.
 * kernel_speed.py fills `Input`, compiles and calls this.
 */

#include <math.h>

typedef struct {
    double x, y, z;
} Vec;
typedef struct {
    double w, x, y, z;
} Quat;
typedef struct {
    double xx, xy, xz, yx, yy, yz, zx, zy, zz;
} Mat;
typedef struct {
    double xx, yy, zz, xy, xz, yz;
} Sym;
typedef struct {
    Vec r, v;
    Quat q;
    Vec w;
} State;

enum {
    BODY_COLUMNS = 9,
    FIN_COLUMNS = 12,
    PANEL_COLUMNS = 10,
    RULE_COLUMNS = 15,
    AIR_COLUMNS = 5,
    MOST_FINS = 16,
    MOST_RULES = 16,
    MOST_BURNS = 8,
    ISSUED = 64,
    OUTCOMES = 28 /* counted by `report` */
};
enum { SEEN_LOAD, SEEN_X, SEEN_HINGE, SEEN_STALL, SEEN_COLUMNS = 7 };
/* of the gains, as in sixdof.core.computer.control */
enum {
    K_OVER, K_ROWS, K_PRESSURE, K_LOW, K_HIGH, K_INTEGRAL, K_FILTER, K_ON_ERROR, K_CASCADE, K_RATE_LIMIT,
    K_DEMAND_LIMIT, K_NOTCH, K_HEAD = 16, K_ROW = 13
};
/* of a rule, as in sixdof.core.types; what parts, lights and opens is left out of an ascent of one stage */
enum {
    RULE_TRIGGER, RULE_THRESHOLD, RULE_ORDER, RULE_DELAY, RULE_ACTION, RULE_TARGET, RULE_TILT_BELOW, RULE_SPEED_ABOVE,
    RULE_SPEED_BELOW, RULE_HEIGHT_ABOVE, RULE_HEIGHT_BELOW, RULE_BOOSTER, RULE_AFTER, RULE_BEFORE, RULE_PATIENCE
};
enum { BY_TIME, BY_LIFTOFF, BY_RAIL, BY_BURNOUT, BY_APOGEE, BY_CLIMBING, BY_FALLING, BY_SEPARATION, BY_IGNITION, BY_EJECTION };
enum { ENABLE, DISABLE };
enum { HOLD, ON_RAIL, PIVOT, FREE };
enum { FRICTION_ROUNDS = 4 }; /* as in sixdof.core.flight.rail.pivot_rate */

/* field by field as in kernel_speed.py */
typedef struct {
    const double *air, *wind, *body, *fin, *friction, *cross, *axial_shape, *panel, *time, *force, *impulse, *profile;
    const double *gains, *mixer, *rules, *centring;
    double *seen;
    long airs, winds, bodies, sets, friction_columns, cross_columns, shape_columns, panels, breaks, profiles, controls;
    long rules_n, steps_per_tick, roll_first;
    double air_z0, air_per_metre, wind_per_root;
    Vec earth, wind_turn;
    double area, length, per_mach, per_root, plan0, plan1, plan2, drag, normal, cp_shift, cant;
    double dry;
    Vec cg;
    Sym inertia;
    double propellant;
    Vec moment;
    Sym linear;
    double square_roll, square_pitch, total_impulse;
    Vec thrust_line, exit;
    double exit_area, exit_swirl, reference_pressure;
    double friction_rail, fore_travel, aft_travel, aft_x, base_x;
    Vec line;
    State rest;
    double frequency, damping, rate_limit, acceleration_limit, travel, delay, backlash, dead_band, resolution;
    double stall_torque;
    double period;
    Quat frame;
    double time_limit;
    double liftoff_specific_force, liftoff_height, ignition_specific_force, burnout_specific_force, burnout_debounce, by_barometer, apogee_drop;
    double apogee_debounce;
} Input;

typedef struct {
    double mass;
    Vec cg;
    Sym inertia, inverse, rate;
    double thrust, flow, burning;
} Body;
typedef struct {
    double start, force, slope, unburnt, per_impulse, burning;
} Burn;
typedef struct {
    Mat m;
    Vec force, moment, rate, u;
    double gravity, speed, cross_speed, mach, pressure, reynolds;
} Loads;

static inline double clip(double x, double a, double b) { return x < a ? a : (x > b ? b : x); }
static inline Vec add(Vec a, Vec b) { return (Vec){a.x + b.x, a.y + b.y, a.z + b.z}; }
static inline Vec sub(Vec a, Vec b) { return (Vec){a.x - b.x, a.y - b.y, a.z - b.z}; }
static inline Vec scale(Vec a, double k) { return (Vec){a.x * k, a.y * k, a.z * k}; }
static inline double dot(Vec a, Vec b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
static inline Vec cross(Vec a, Vec b) {
    return (Vec){a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}
static inline Vec to_world(Mat m, Vec a) {
    return (Vec){m.xx * a.x + m.xy * a.y + m.xz * a.z, m.yx * a.x + m.yy * a.y + m.yz * a.z,
                 m.zx * a.x + m.zy * a.y + m.zz * a.z};
}
static inline Vec to_body(Mat m, Vec a) {
    return (Vec){m.xx * a.x + m.yx * a.y + m.zx * a.z, m.xy * a.x + m.yy * a.y + m.zy * a.z,
                 m.xz * a.x + m.yz * a.y + m.zz * a.z};
}
static inline Vec sym_times(Sym s, Vec a) {
    return (Vec){s.xx * a.x + s.xy * a.y + s.xz * a.z, s.xy * a.x + s.yy * a.y + s.yz * a.z,
                 s.xz * a.x + s.yz * a.y + s.zz * a.z};
}
static inline Sym spread(Vec d) {
    return (Sym){
        d.y * d.y + d.z * d.z, d.x * d.x + d.z * d.z, d.x * d.x + d.y * d.y, -d.x * d.y, -d.x * d.z, -d.y * d.z};
}
static inline Sym sym_inverse(Sym s) {
    double a = s.yy * s.zz - s.yz * s.yz, b = s.xz * s.yz - s.xy * s.zz, c = s.xy * s.yz - s.xz * s.yy;
    double k = 1.0 / (s.xx * a + s.xy * b + s.xz * c);
    return (Sym){a * k, (s.xx * s.zz - s.xz * s.xz) * k, (s.xx * s.yy - s.xy * s.xy) * k, b * k,
                 c * k, (s.xy * s.xz - s.xx * s.yz) * k};
}
static inline Mat matrix_of(Quat q) {
    return (Mat){1 - 2 * (q.y * q.y + q.z * q.z), 2 * (q.x * q.y - q.w * q.z),     2 * (q.x * q.z + q.w * q.y),
                 2 * (q.x * q.y + q.w * q.z),     1 - 2 * (q.x * q.x + q.z * q.z), 2 * (q.y * q.z - q.w * q.x),
                 2 * (q.x * q.z - q.w * q.y),     2 * (q.y * q.z + q.w * q.x),     1 - 2 * (q.x * q.x + q.y * q.y)};
}
static inline Quat multiply(Quat a, Quat b) {
    return (Quat){a.w * b.w - a.x * b.x - a.y * b.y - a.z * b.z, a.w * b.x + a.x * b.w + a.y * b.z - a.z * b.y,
                  a.w * b.y - a.x * b.z + a.y * b.w + a.z * b.x, a.w * b.z + a.x * b.y - a.y * b.x + a.z * b.w};
}
static inline Quat conjugate(Quat q) { return (Quat){q.w, -q.x, -q.y, -q.z}; }
static inline Quat quaternion_rate(Quat q, Vec w) {
    return (Quat){-0.5 * (q.x * w.x + q.y * w.y + q.z * w.z), 0.5 * (q.w * w.x + q.y * w.z - q.z * w.y),
                  0.5 * (q.w * w.y + q.z * w.x - q.x * w.z), 0.5 * (q.w * w.z + q.x * w.y - q.y * w.x)};
}
static inline State axpy(State s, State k, double h) {
    return (State){{s.r.x + h * k.r.x, s.r.y + h * k.r.y, s.r.z + h * k.r.z},
                   {s.v.x + h * k.v.x, s.v.y + h * k.v.y, s.v.z + h * k.v.z},
                   {s.q.w + h * k.q.w, s.q.x + h * k.q.x, s.q.y + h * k.q.y, s.q.z + h * k.q.z},
                   {s.w.x + h * k.w.x, s.w.y + h * k.w.y, s.w.z + h * k.w.z}};
}
static inline double cell(double x, long rows, long *i) {
    x = clip(x, 0.0, rows - 1.0);
    *i = (long)x < rows - 2 ? (long)x : rows - 2;
    return x - *i;
}
static inline double at(const double *row, long columns, int c, double f) {
    return row[c] + f * (row[columns + c] - row[c]);
}

static inline double surface(const double *table, long rows, long columns, double x, double y) {
    long i, j;
    double f = cell(x, rows, &i), g = cell(y, columns, &j);
    const double *low = table + columns * i + j, *high = low + columns;
    double a = low[0] + g * (low[1] - low[0]), b = high[0] + g * (high[1] - high[0]);
    return a + f * (b - a);
}

/* ------------------------------------------------------------------ mass and thrust */

static Burn burn_segment(const Input *in, long i) {
    if (i >= in->breaks - 1) return (Burn){in->time[in->breaks - 1], 0, 0, 0, 1.0 / in->total_impulse, 0};
    double slope = (in->force[i + 1] - in->force[i]) / (in->time[i + 1] - in->time[i]);
    return (Burn){in->time[i], in->force[i], slope, 1.0 - in->impulse[i], 1.0 / in->total_impulse, 1};
}

static Body body_at(const Input *in, double t, Burn burn) {
    double x = t - burn.start, force = burn.force + burn.slope * x;
    double f = burn.unburnt - (burn.force + 0.5 * burn.slope * x) * x * burn.per_impulse,
           f_rate = -force * burn.per_impulse;
    double mass = in->dry + f * in->propellant, k = f / mass, c = f * k, c_f = k * (2.0 - k * in->propellant);
    Vec m = in->moment;
    Sym s = spread(m), a = in->inertia, b = in->linear;
    double roll = in->square_roll, pitch = in->square_pitch;
    Body body;
    body.mass = mass;
    body.cg = (Vec){in->cg.x - k * m.x, in->cg.y + k * m.y, in->cg.z + k * m.z};
    body.inertia = (Sym){a.xx + f * (b.xx + f * roll) - c * s.xx,
                         a.yy + f * (b.yy + f * pitch) - c * s.yy,
                         a.zz + f * (b.zz + f * pitch) - c * s.zz,
                         a.xy + f * b.xy - c * s.xy,
                         a.xz + f * b.xz - c * s.xz,
                         a.yz + f * b.yz - c * s.yz};
    body.rate = (Sym){f_rate * (b.xx + 2 * f * roll - c_f * s.xx),
                      f_rate * (b.yy + 2 * f * pitch - c_f * s.yy),
                      f_rate * (b.zz + 2 * f * pitch - c_f * s.zz),
                      f_rate * (b.xy - c_f * s.xy),
                      f_rate * (b.xz - c_f * s.xz),
                      f_rate * (b.yz - c_f * s.yz)};
    body.inverse = sym_inverse(body.inertia);
    body.thrust = force;
    body.flow = -f_rate * in->propellant;
    body.burning = burn.burning;
    return body;
}

/* ------------------------------------------------------------------ loads */

static inline double small_sin(double a) {
    double b = a * a;
    return a * (1.0 - b / 6.0 * (1.0 - b / 20.0 * (1.0 - b / 42.0 * (1.0 - b / 72.0))));
}

/* fins: angles at the start, middle and end of a step, k picks the row */
static inline Loads loads(const Input *in, const State *s, const Body *body, double fins[3][MOST_FINS], int k) {
    Mat m = matrix_of(s->q);
    long i;
    double f = cell((s->r.z - in->air_z0) * in->air_per_metre, in->airs, &i);
    const double *a = in->air + AIR_COLUMNS * i;
    double density = at(a, AIR_COLUMNS, 0, f), pressure = at(a, AIR_COLUMNS, 1, f), sound = at(a, AIR_COLUMNS, 2, f);
    double viscosity = at(a, AIR_COLUMNS, 3, f), gravity = at(a, AIR_COLUMNS, 4, f);
    f = cell(sqrt(s->r.z > 0.0 ? s->r.z : 0.0) * in->wind_per_root, in->winds, &i);
    double e = in->wind_turn.x * at(in->wind + 2 * i, 2, 0, f), n = in->wind_turn.x * at(in->wind + 2 * i, 2, 1, f);
    Vec wind = {in->wind_turn.y * e + in->wind_turn.z * n, in->wind_turn.y * n - in->wind_turn.z * e, 0.0};
    Vec u = to_body(m, sub(s->v, wind)), rate = sub(s->w, to_body(m, in->earth)), cg = body->cg;

    double cross2 = u.y * u.y + u.z * u.z, speed2 = u.x * u.x + cross2;
    double speed = sqrt(speed2 + 1e-12), cross_speed = sqrt(cross2 + 1e-12), half = 0.5 * density, mach = speed / sound;
    long mi;
    double mf = cell(mach * in->per_mach, in->bodies, &mi);
    const double *table = in->body + BODY_COLUMNS * mi;
    double friction = surface(in->friction, in->bodies, in->friction_columns, mach * in->per_mach,
                              sqrt(sqrt(speed * density / viscosity)) * in->per_root);
    double axial = friction + at(table, BODY_COLUMNS, 3, mf) + body->burning * at(table, BODY_COLUMNS, 4, mf);
    axial *= surface(in->axial_shape, in->bodies, in->shape_columns, mach * in->per_mach,
                     cross_speed / speed * (in->shape_columns - 1));
    if (u.x < 0.0) axial = at(table, BODY_COLUMNS, 5, mf);
    double fx = -half * u.x * fabs(u.x) * in->area * axial * in->drag;

    int column = u.x >= 0.0 ? 0 : 6; /* base first the slope's moments are others */
    double s0 = at(table, BODY_COLUMNS, column, mf), t1 = at(table, BODY_COLUMNS, column + 1, mf), cp = in->cp_shift;
    double s1 = t1 + s0 * cp, s2 = at(table, BODY_COLUMNS, column + 2, mf) + (2 * t1 + s0 * cp) * cp;
    double first = s0 * cg.x - s1, second = s0 * cg.x * cg.x - 2 * s1 * cg.x + s2, cosine = fabs(u.x) / speed;
    double aligned = clip(cosine * (1.0 / 0.17), 0.0, 1.0);
    aligned *= aligned * (3.0 - 2.0 * aligned);
    double back = u.x >= 0.0 ? 0.5 - 0.5 * aligned : 0.5 + 0.5 * aligned;
    double potential = -half * in->area * fabs(u.x) * aligned * sqrt(0.5 * (1.0 + cosine)) * in->normal;
    double fy = potential * (s0 * u.y + first * rate.z), fz = potential * (s0 * u.z - first * rate.y);
    double my = -potential * (first * u.z - second * rate.y), mz = potential * (first * u.y + second * rate.z),
           mx = 0.0;

    double cdc = surface(in->cross, in->bodies, in->cross_columns, cross_speed / sound * in->per_mach,
                         sqrt(sqrt(cross_speed * density / viscosity)) * in->per_root) *
                 in->normal;
    double centroid = in->plan1 / in->plan0, spread2 = in->plan2 / in->plan0 - centroid * centroid;
    double arm = cg.x - centroid - cp, vy = u.y + rate.z * arm, vz = u.z - rate.y * arm;
    double viscous = -half * cdc * in->plan0 * sqrt(vy * vy + vz * vz + (rate.y * rate.y + rate.z * rate.z) * spread2);
    fy += viscous * vy;
    fz += viscous * vz;
    my += -arm * viscous * vz + viscous * spread2 * rate.y;
    mz += arm * viscous * vy + viscous * spread2 * rate.z;

    double per_area = in->normal / in->area, current = -1.0;
    double slope = 0, x = 0, kw = 0, kb = 0, dw = 0, db = 0, xb = 0, stall = 0,
           separated = 0, no_damp = 0, no_direct = 0;
    for (long p = 0; p < in->panels; p++) {
        const double *row = in->panel + PANEL_COLUMNS * p;
        if (row[0] != current) { /* panels of a set stand together in the table */
            const double *set = in->fin + FIN_COLUMNS * (in->sets * mi + (long)row[0]);
            long step = FIN_COLUMNS * in->sets;
            current = row[0];
            slope = at(set, step, 0, mf) * in->normal, x = at(set, step, 1, mf), kw = at(set, step, 2, mf);
            kb = at(set, step, 3, mf), dw = at(set, step, 4, mf), db = at(set, step, 5, mf),
            xb = at(set, step, 6, mf);
            double behind = at(set, step, 9, mf);
            x += back * (behind - x) + cp;
            xb += back * (behind - xb) + cp;
            stall = at(set, step, 7, mf), separated = at(set, step, 8, mf);
            no_damp = 1.0 - at(set, step, 10, mf), no_direct = 1.0 - at(set, step, 11, mf);
        }
        double sn = row[1], c = row[2], y = row[3];
        long control = (long)row[6];
        double sine = small_sin(row[5] + in->cant + (control >= 0 ? fins[k][control] : 0.0));
        double lever = cg.x - x, along = u.x + y * (rate.y * c + rate.z * sn);
        double across = -c * (u.y + rate.z * lever) - sn * (u.z - rate.y * lever);
        double spin = rate.x * row[4], v2 = along * along + (across + spin) * (across + spin), inverse = 1.0 / sqrt(v2 + 1e-12);
        double incidence = -across * inverse, stirred = -spin * inverse, turned = sine * along * inverse;
        double bent = clip(kw * incidence + stirred + dw * turned, -1.0, 1.0),
               w = clip((fabs(bent) - stall) * (1.0 / 0.15), 0.0, 1.0);
        w = w * w * (3.0 - 2.0 * w);
        double q_area = half * v2 * in->area, straight = slope * sqrt(1.0 - bent * bent), attached = bent * straight;
        double plate = separated * row[7] * per_area * bent / (0.56 + 0.44 * fabs(bent));
        double load = q_area * (attached + w * (plate - attached));
        double carried = q_area * (1.0 - w) * slope * (kb * (incidence + stirred / kw) + db * turned) * fabs(along) * inverse;
        double acts = x + w * (row[9] - x), *seen = in->seen + SEEN_COLUMNS * p;
        seen[SEEN_LOAD] = load;
        seen[SEEN_X] = acts;
        seen[SEEN_STALL] = w;
        seen[SEEN_HINGE] = load * (row[8] - acts);
        double px = -load * sine, turn = (cg.x - acts) * load + (cg.x - xb) * carried, total = load + carried;
        fx += px;
        fy -= c * total;
        fz -= sn * total;
        mx += y * (load + q_area * (1.0 - w) * straight * (no_damp * spin * inverse - no_direct * dw * turned));
        my += sn * turn + y * c * px;
        mz += -c * turn + y * sn * px;
    }
    mx += cg.z * fy - cg.y * fz;
    my -= cg.z * fx;
    mz += cg.y * fx;

    double push = body->thrust + body->burning * (in->reference_pressure - pressure) * in->exit_area;
    Vec t = scale(in->thrust_line, push > 0.0 ? push : 0.0);
    Vec nozzle = {cg.x - in->exit.x, in->exit.y - cg.y, in->exit.z - cg.z}, tm = cross(nozzle, t);
    Vec jet = cross(nozzle, cross(s->w, nozzle)), shrink = sym_times(body->rate, s->w);
    Vec moment = {mx + tm.x - body->flow * (jet.x + in->exit_swirl * s->w.x) - shrink.x,
                  my + tm.y - body->flow * jet.y - shrink.y, mz + tm.z - body->flow * jet.z - shrink.z};
    return (Loads){
        m,           {fx + t.x, fy + t.y, fz + t.z}, moment, rate, u, gravity, speed, cross_speed, mach, half * speed2,
        speed * density / viscosity};
}

/* ------------------------------------------------------------------ motion */

static inline Vec acceleration(const Input *in, const State *s, const Body *b, const Loads *l) {
    Vec f = scale(to_world(l->m, l->force), 1.0 / b->mass), c = cross(in->earth, s->v);
    return (Vec){f.x - 2 * c.x, f.y - 2 * c.y, f.z - 2 * c.z - l->gravity};
}

static inline double rail_pull(const Input *in, const State *s, const Body *b, const Loads *l) {
    Vec a = acceleration(in, s, b, l);
    double along = dot(a, in->line);
    Vec aside = sub(a, scale(in->line, along));
    return along - in->friction_rail * sqrt(dot(aside, aside));
}

static State pivot_rate(const Input *in, const State *s, const Body *b, const Loads *l) {
    Vec u = in->line, side = fabs(u.z) < 0.9 ? (Vec){0, 0, 1} : (Vec){1, 0, 0}, w1 = cross(u, side);
    w1 = scale(w1, 1.0 / sqrt(dot(w1, w1)));
    Vec e1 = to_body(l->m, w1), e2 = to_body(l->m, cross(u, w1)), arm = {b->cg.x - in->aft_x, -b->cg.y, -b->cg.z};
    Vec a0 = to_body(l->m, acceleration(in, s, b, l));
    Vec turn0 = sym_times(b->inverse, sub(l->moment, cross(s->w, sym_times(b->inertia, s->w))));
    Vec point = add(add(a0, cross(turn0, arm)), cross(l->rate, cross(l->rate, arm)));
    Vec p1 = add(scale(e1, 1.0 / b->mass), cross(sym_times(b->inverse, cross(arm, e1)), arm));
    Vec p2 = add(scale(e2, 1.0 / b->mass), cross(sym_times(b->inverse, cross(arm, e2)), arm));
    Vec down = scale(to_body(l->m, u), -1.0);
    Vec pd = add(scale(down, 1.0 / b->mass), cross(sym_times(b->inverse, cross(arm, down)), arm));
    double a11 = dot(e1, p1), a12 = dot(e1, p2), a21 = dot(e2, p1), a22 = dot(e2, p2),
           k = 1.0 / (a11 * a22 - a12 * a21);
    double drag = 0.0, n1 = 0.0, n2 = 0.0;
    for (int i = 0; i < FRICTION_ROUNDS;
         i++) { /* friction turns the vehicle too, which changes the forces it comes from */
        double b1 = -dot(e1, point) - drag * dot(e1, pd), b2 = -dot(e2, point) - drag * dot(e2, pd);
        n1 = (b1 * a22 - b2 * a12) * k;
        n2 = (a11 * b2 - a21 * b1) * k;
        drag = in->friction_rail * sqrt(n1 * n1 + n2 * n2);
    }
    Vec f = add(add(scale(e1, n1), scale(e2, n2)), scale(down, drag));
    return (State){s->v, to_world(l->m, add(a0, scale(f, 1.0 / b->mass))), quaternion_rate(s->q, l->rate),
                   add(turn0, sym_times(b->inverse, cross(arm, f)))};
}

static inline State state_rate(const Input *in, int phase, const State *s, const Body *b, const Loads *l) {
    if (phase == FREE)
        return (State){s->v, acceleration(in, s, b, l), quaternion_rate(s->q, l->rate),
                       sym_times(b->inverse, sub(l->moment, cross(s->w, sym_times(b->inertia, s->w))))};
    if (phase == PIVOT) return pivot_rate(in, s, b, l);
    if (phase == ON_RAIL) return (State){s->v, scale(in->line, rail_pull(in, s, b, l)), {0, 0, 0, 0}, {0, 0, 0}};
    return (State){{0, 0, 0}, {0, 0, 0}, {0, 0, 0, 0}, {0, 0, 0}};
}

static State deriv(const Input *in, int phase, const State *s, const Body *b, double fins[3][MOST_FINS], int k) {
    Loads l = loads(in, s, b, fins, k);
    return state_rate(in, phase, s, b, &l);
}

static State rk4(const Input *in, int phase, State s, double h, State k1, const Body *middle, const Body *end,
                 double fins[3][MOST_FINS]) {
    State x = axpy(s, k1, 0.5 * h);
    State k2 = deriv(in, phase, &x, middle, fins, 1);
    x = axpy(s, k2, 0.5 * h);
    State k3 = deriv(in, phase, &x, middle, fins, 1);
    x = axpy(s, k3, h);
    State k4 = deriv(in, phase, &x, end, fins, 2);
    s = axpy(axpy(axpy(axpy(s, k1, h / 6), k2, h / 3), k3, h / 3), k4, h / 6);
    double k = 1.0 / sqrt(s.q.w * s.q.w + s.q.x * s.q.x + s.q.y * s.q.y + s.q.z * s.q.z);
    s.q = (Quat){s.q.w * k, s.q.x * k, s.q.y * k, s.q.z * k};
    return s;
}

static double travelled(const Input *in, const State *s) {
    double at_rest = in->base_x - in->aft_x; /* of the aft guide up the rail's line */
    Vec arm = to_body(matrix_of(in->rest.q), sub(scale(in->line, at_rest), in->rest.r));
    return dot(add(s->r, to_world(matrix_of(s->q), arm)), in->line) - at_rest;
}

static double gap(const Input *in, int phase, const State *s) {
    if (phase == ON_RAIL) return in->fore_travel - travelled(in, s);
    if (phase == PIVOT) return in->aft_travel - travelled(in, s);
    return s->v.z;
}

/* ------------------------------------------------------------------ actuators */

typedef struct {
    double fins[3][MOST_FINS], motors[6][MOST_FINS], hinge[MOST_FINS], targets[MOST_FINS], issued[ISSUED][MOST_FINS];
} Servos;

static inline void servo_rates(const Input *in, double a, double r, double target, double up, double down, double *da,
                               double *dr) {
    r = clip(r, -down, up);
    double pull = in->frequency * (in->frequency * (target - a) - 2.0 * in->damping * r);
    pull = clip(pull, -in->acceleration_limit, in->acceleration_limit);
    if ((r >= up && pull > 0.0) || (r <= -down && pull < 0.0)) pull = 0.0;
    *da = r;
    *dr = pull;
}

static inline void servo_step(const Input *in, double *a, double *r, double target, double up, double down, double h) {
    double a1, a2, a3, a4, b1, b2, b3, b4;
    servo_rates(in, *a, *r, target, up, down, &a1, &b1);
    servo_rates(in, *a + 0.5 * h * a1, *r + 0.5 * h * b1, target, up, down, &a2, &b2);
    servo_rates(in, *a + 0.5 * h * a2, *r + 0.5 * h * b2, target, up, down, &a3, &b3);
    servo_rates(in, *a + h * a3, *r + h * b3, target, up, down, &a4, &b4);
    *a += h / 6.0 * (a1 + 2 * a2 + 2 * a3 + a4);
    *r = clip(*r + h / 6.0 * (b1 + 2 * b2 + 2 * b3 + b4), -down, up);
    if (*a >= in->travel) {
        *a = in->travel;
        *r = *r < 0.0 ? *r : 0.0;
    } else if (*a <= -in->travel) {
        *a = -in->travel;
        *r = *r > 0.0 ? *r : 0.0;
    }
}

static void move_fins(const Input *in, Servos *x, double h) {
    double half = 0.5 * in->backlash;
    for (long i = 0; i < in->controls; i++) {
        double up = in->rate_limit, down = in->rate_limit, a = x->motors[0][i], r = x->motors[1][i];
        if (in->stall_torque < INFINITY) {
            double share = x->hinge[i] / in->stall_torque;
            up *= clip(1.0 + share, 0.0, 1.0);
            down *= clip(1.0 - share, 0.0, 1.0);
        }
        for (int k = 1; k < 3; k++) {
            servo_step(in, &a, &r, x->targets[i], up, down, 0.5 * h);
            x->motors[2 * k][i] = a;
            x->motors[2 * k + 1][i] = r;
            x->fins[k][i] = clip(x->fins[k - 1][i], a - half, a + half);
        }
    }
}

static void keep_fins(const Input *in, Servos *x) {
    for (long i = 0; i < in->controls; i++) {
        x->fins[0][i] = x->fins[2][i];
        x->motors[0][i] = x->motors[4][i];
        x->motors[1][i] = x->motors[5][i];
    }
}

static void issue(const Input *in, const double *command, Servos *x, long tick) {
    double *now = x->issued[tick % ISSUED];
    const double *last = x->issued[(tick + ISSUED - 1) % ISSUED];
    for (long i = 0; i < in->controls; i++) {
        double wanted = command[i];
        if (in->resolution > 0.0) wanted = floor(wanted / in->resolution + 0.5) * in->resolution;
        if (tick > 0 && fabs(wanted - last[i]) <= in->dead_band) wanted = last[i];
        now[i] = clip(wanted, -in->travel, in->travel);
    }
}

static void pick_targets(const Input *in, Servos *x, long tick, int late) {
    long k = tick - (long)(in->delay / in->period + 1e-9) - late;
    for (long i = 0; i < in->controls; i++) x->targets[i] = in->centring[i] + (k >= 0 ? x->issued[k % ISSUED][i] : 0.0);
}

/* ------------------------------------------------------------------ flight computer and observer */

typedef struct {
    double liftoff, rail, apogee, ignition[MOST_BURNS], burnout[MOST_BURNS], quiet, sinking, highest, true_burnout;
    int burns, thrusting;
    double enabled, memory[9], armed[MOST_RULES], fired[MOST_RULES], given_up[MOST_RULES];
    double command[MOST_FINS], cut;
    Quat goal, believed;
    Vec place, velocity; /* as sensed */
    double speed, mach, pressure, force, incidence, tilt, margin, error, roll, load, hinge, attitude_error, place_error,
        velocity_error, time_mach, time_sonic, time_incidence, time_reynolds, time_stalled;
    double boost2, boosts, coast2, coasts, roll2, lives, cuts, sign_q, sign_r, reversals, travel, energy;
    double at_rate, moving;
} Computer;

static Quat tilt_quaternion(double pitch, double yaw, double roll) {
    Quat a = {cos(0.5 * yaw), 0, 0, sin(0.5 * yaw)}, b = {cos(0.5 * pitch), 0, -sin(0.5 * pitch), 0},
         c = {cos(0.5 * roll), sin(0.5 * roll), 0, 0};
    return multiply(multiply(a, b), c);
}

static double tilt_of(const Input *in, Quat q) {
    return acos(clip(matrix_of(multiply(conjugate(in->frame), q)).xx, -1.0, 1.0));
}

static void notice_burns(const Input *in, double t, double force, Computer *c) {
    if (c->burns >= MOST_BURNS) return;
    if (!c->thrusting) {
        if (force > in->ignition_specific_force) {
            c->ignition[c->burns] = t;
            c->thrusting = 1;
        }
    } else if (force >= in->burnout_specific_force) {
        c->quiet = -1.0;
    } else {
        if (c->quiet < 0.0) c->quiet = t;
        if (t - c->quiet >= in->burnout_debounce - 1e-9) {
            c->burnout[c->burns++] = t;
            c->thrusting = 0;
            c->quiet = -1.0;
        }
    }
}

static void notice(const Input *in, double t, const State *s, double force, Computer *c) {
    if (c->liftoff < 0.0) {
        if (!(force > in->liftoff_specific_force || s->r.z > in->liftoff_height)) return;
        c->liftoff = c->ignition[0] = t;
        c->thrusting = 1;
    }
    if (c->rail < 0.0 && dot(s->r, s->r) > in->aft_travel * in->aft_travel) c->rail = t;
    notice_burns(in, t, force, c);
    if (c->apogee >= 0.0 || c->rail < 0.0) return;
    int sinking = s->v.z < 0.0;
    if (in->by_barometer > 0.0) {
        if (s->r.z > c->highest) c->highest = s->r.z;
        sinking = s->r.z < c->highest - in->apogee_drop;
    }
    if (!sinking) {
        c->sinking = -1.0;
        return;
    }
    if (c->sinking < 0.0) c->sinking = t;
    if (t - c->sinking >= in->apogee_debounce - 1e-9) c->apogee = t;
}

static int triggered(const double *rule, double t, const State *s, const Computer *c) {
    switch ((int)rule[RULE_TRIGGER]) {
    case BY_TIME: return t >= rule[RULE_THRESHOLD];
    case BY_LIFTOFF: return c->liftoff >= 0.0;
    case BY_RAIL: return c->rail >= 0.0;
    case BY_BURNOUT: return c->burnout[(int)rule[RULE_ORDER]] >= 0.0;
    case BY_APOGEE: return c->apogee >= 0.0;
    case BY_CLIMBING: return c->liftoff >= 0.0 && s->r.z >= rule[RULE_THRESHOLD];
    case BY_FALLING: return c->apogee >= 0.0 && s->r.z <= rule[RULE_THRESHOLD];
    case BY_IGNITION: return c->ignition[(int)rule[RULE_ORDER]] >= 0.0;
    case BY_EJECTION: return c->true_burnout >= 0.0;
    }
    return 0;
}

static int inhibited(const Input *in, const double *rule, const State *s, double since, double speed2) {
    double low = rule[RULE_SPEED_ABOVE] > 0.0 ? rule[RULE_SPEED_ABOVE] : 0.0, high = rule[RULE_SPEED_BELOW];
    if (s->r.z < rule[RULE_HEIGHT_ABOVE] || s->r.z > rule[RULE_HEIGHT_BELOW]) return 1;
    if (since < rule[RULE_AFTER] || since > rule[RULE_BEFORE] || rule[RULE_BOOSTER] > 0.5) return 1;
    if (speed2 < low * low || (high < INFINITY && speed2 > high * high)) return 1;
    return rule[RULE_TILT_BELOW] < INFINITY && tilt_of(in, s->q) > rule[RULE_TILT_BELOW];
}

static void run_rules(const Input *in, double t, const State *s, Computer *c) {
    double speed2 = dot(s->v, s->v), since = c->liftoff >= 0.0 ? t - c->liftoff : -1.0;
    for (long i = 0; i < in->rules_n; i++) {
        const double *rule = in->rules + RULE_COLUMNS * i;
        if (c->fired[i] >= 0.0 || c->given_up[i] >= 0.0) continue;
        if (c->armed[i] < 0.0) {
            if (!triggered(rule, t, s, c)) continue;
            c->armed[i] = t;
        }
        double due = c->armed[i] + rule[RULE_DELAY];
        if (t < due - 1e-9) continue;
        if (inhibited(in, rule, s, since, speed2)) {
            if (t - due >= rule[RULE_PATIENCE] - 1e-9 || since > rule[RULE_BEFORE]) c->given_up[i] = t;
            continue;
        }
        c->fired[i] = t;
        if ((int)rule[RULE_ACTION] == ENABLE) c->enabled = 1.0;
        if ((int)rule[RULE_ACTION] == DISABLE) c->enabled = 0.0;
    }
}

static double scheduled(const double *first, long rows, double x, int column) {
    const double *here = first;
    for (long k = 1; k < rows; k++)
        if (x >= first[k * K_ROW]) here = first + k * K_ROW;
    if (here + K_ROW >= first + rows * K_ROW || x <= here[0]) return here[column];
    return here[column] + (x - here[0]) / (here[K_ROW] - here[0]) * (here[K_ROW + column] - here[column]);
}

static double pid(const Input *in, double error, double rate, double p, double i, double d, double f, double scale,
                  Computer *c, double *m) {
    const double *g = in->gains;
    double h = in->period, goal_rate = 0.0; /* a profile whose own rate is not fed forward */
    if (g[K_CASCADE] > 0.0) {
        error = clip(p * error + goal_rate, -g[K_RATE_LIMIT], g[K_RATE_LIMIT]) - rate;
        p = d;
        d = 0.0;
    }
    double step = i * error * h;
    if (!(c->cut > 0.0 && step * m[0] > 0.0)) m[0] = clip(m[0] + step, -g[K_INTEGRAL], g[K_INTEGRAL]);
    if (g[K_ON_ERROR] > 0.0)
        m[1] = (g[K_FILTER] * m[1] + d * (error - m[2])) / (g[K_FILTER] + h);
    else
        m[1] += h / (g[K_FILTER] + h) * (-d * rate - m[1]);
    m[2] = error;
    return clip(scale * (p * error + m[0] + m[1] + f * goal_rate), -g[K_DEMAND_LIMIT], g[K_DEMAND_LIMIT]);
}

static void control(const Input *in, const State *s, double pressure, double mach, Computer *c, double *demand) {
    const double *g = in->gains;
    if (c->enabled < 0.5) {
        for (int i = 0; i < 9; i++) c->memory[i] = 0.0;
        demand[0] = demand[1] = demand[2] = 0.0;
        return;
    }
    double x = g[K_OVER] == 1.0 ? pressure : g[K_OVER] == 2.0 ? mach : 0.0, gain = 1.0;
    if (g[K_PRESSURE] > 0.0) gain = clip(g[K_PRESSURE] / (pressure > 1.0 ? pressure : 1.0), g[K_LOW], g[K_HIGH]);
    Quat e = multiply(conjugate(s->q), c->goal);
    double k = e.w >= 0.0 ? 2.0 : -2.0, error[3] = {k * e.x, k * e.y, k * e.z}, rate[3] = {s->w.x, s->w.y, s->w.z};
    long rows = (long)g[K_ROWS];
    for (int channel = 0; channel < 3; channel++) {
        double w[4];
        for (int i = 0; i < 4; i++) w[i] = scheduled(g + K_HEAD, rows, x, 1 + 4 * channel + i);
        double *memory = c->memory + 3 * channel;
        demand[channel] = pid(in, error[channel], rate[channel], w[0], w[1], w[2], w[3], gain, c, memory);
    }
}

static inline double room(double base, double extra, double travel) {
    if (extra > 0.0) return clip((travel - base) / extra, 0.0, 1.0);
    if (extra < 0.0) return clip((-travel - base) / extra, 0.0, 1.0);
    return 1.0;
}

static void mix(const Input *in, const double *demand, Computer *c) {
    double first[MOST_FINS], second[MOST_FINS], share = 1.0, rest = 1.0;
    for (long i = 0; i < in->controls; i++) {
        const double *x = in->mixer + 3 * i;
        double roll = x[0] * demand[0], lean = x[1] * demand[1] + x[2] * demand[2];
        first[i] = in->roll_first ? roll : lean;
        second[i] = in->roll_first ? lean : roll;
        double fits = room(0.0, first[i], in->travel);
        share = fits < share ? fits : share;
    }
    for (long i = 0; i < in->controls; i++) {
        double fits = room(share * first[i], second[i], in->travel);
        rest = fits < rest ? fits : rest;
    }
    for (long i = 0; i < in->controls; i++) c->command[i] = share * first[i] + rest * second[i];
    c->cut = share < 1.0 || rest < 1.0;
}

static void tick(const Input *in, double t, long number, const State *s, Vec felt, Servos *servos, Computer *c) {
    long row;
    double a = cell((s->r.z - in->air_z0) * in->air_per_metre, in->airs, &row), speed2 = dot(s->v, s->v);
    double pressure = 0.5 * at(in->air + AIR_COLUMNS * row, AIR_COLUMNS, 0, a) * speed2;
    double mach = sqrt(speed2) / at(in->air + AIR_COLUMNS * row, AIR_COLUMNS, 2, a);
    c->believed = s->q; /* ideal sensors */
    c->place = s->r;
    c->velocity = s->v;
    notice(in, t, s, felt.x, c);
    run_rules(in, t, s, c);

    double since = c->liftoff >= 0.0 ? t - c->liftoff : -1.0, pitch, yaw, roll;
    const double *p = in->profile;
    long n = in->profiles, i = 0;
    while (i < n - 1 && since >= p[4 * (i + 1)]) i++;
    double f = since <= p[0] || i == n - 1 ? 0.0 : (since - p[4 * i]) / (p[4 * i + 4] - p[4 * i]);
    long j = i == n - 1 ? i : i + 1;
    pitch = p[4 * i + 1] + f * (p[4 * j + 1] - p[4 * i + 1]);
    yaw = p[4 * i + 2] + f * (p[4 * j + 2] - p[4 * i + 2]);
    roll = p[4 * i + 3] + f * (p[4 * j + 3] - p[4 * i + 3]);
    c->goal = multiply(in->frame, tilt_quaternion(pitch, yaw, roll));

    double demand[3];
    control(in, s, pressure, mach, c, demand);
    mix(in, demand, c);
    issue(in, c->command, servos, number);
}

static double static_margin(const Input *in, double mach, double cg) {
    long i;
    double f = cell(mach * in->per_mach, in->bodies, &i), slope = at(in->body + BODY_COLUMNS * i, BODY_COLUMNS, 0, f);
    double moment = at(in->body + BODY_COLUMNS * i, BODY_COLUMNS, 1, f);
    for (long p = 0; p < in->panels; p++) {
        const double *a = in->fin + FIN_COLUMNS * (in->sets * i + (long)in->panel[PANEL_COLUMNS * p]);
        long step = FIN_COLUMNS * in->sets;
        double half = 0.5 * at(a, step, 0, f), own = half * at(a, step, 2, f), carried = half * at(a, step, 3, f);
        slope += own + carried;
        moment += own * at(a, step, 1, f) + carried * at(a, step, 6, f);
    }
    return (moment / slope + in->cp_shift - cg) / in->length;
}

static inline double larger(double a, double b) { return a > b ? a : b; }

static double reversal(double rate, double sign, Computer *c) {
    double now = rate > 0.02 ? 1.0 : (rate < -0.02 ? -1.0 : sign);
    if (now * sign < 0.0) c->reversals += 1.0;
    return now;
}

static void watch_control(const State *s, int boosting, Computer *c) {
    Quat e = multiply(conjugate(s->q), c->goal);
    double nose = acos(clip(matrix_of(e).xx, -1.0, 1.0)), roll = (e.w >= 0.0 ? 2.0 : -2.0) * e.x;
    if (boosting) {
        c->boost2 += nose * nose;
        c->boosts += 1.0;
    } else {
        c->coast2 += nose * nose;
        c->coasts += 1.0;
    }
    c->roll2 += roll * roll;
    c->lives += 1.0;
    c->cuts += c->cut;
    c->sign_q = reversal(s->w.y, c->sign_q, c);
    c->sign_r = reversal(s->w.z, c->sign_r, c);
    c->error = larger(c->error, nose);
    c->roll = larger(c->roll, fabs(roll));
}

static void watch(const Input *in, int phase, int boosting, const State *s, const Body *b, const Loads *l, Vec felt,
                  Computer *c) {
    c->speed = larger(c->speed, l->speed);
    c->mach = larger(c->mach, l->mach);
    c->pressure = larger(c->pressure, l->pressure);
    if (l->mach > 0.8) {
        c->time_mach += in->period;
        if (l->mach < 1.2) c->time_sonic += in->period;
    }
    if (phase != FREE && phase != PIVOT) return;
    c->force = larger(c->force, sqrt(dot(felt, felt)));
    Quat e = multiply(conjugate(s->q), c->believed);
    Vec off = sub(c->place, s->r), slip = sub(c->velocity, s->v);
    c->attitude_error =
        larger(c->attitude_error, 2.0 * asin(clip(sqrt(e.x * e.x + e.y * e.y + e.z * e.z), 0.0, 1.0)));
    c->place_error = larger(c->place_error, sqrt(dot(off, off)));
    c->velocity_error = larger(c->velocity_error, sqrt(dot(slip, slip)));
    if (l->speed <= 20.0) return;
    double incidence = atan2(sqrt(l->u.y * l->u.y + l->u.z * l->u.z), l->u.x), stalled = 0.0;
    double margin = static_margin(in, l->mach, b->cg.x), reynolds = l->reynolds * in->base_x;
    c->incidence = larger(c->incidence, incidence);
    c->tilt = larger(c->tilt, tilt_of(in, s->q));
    c->margin = margin < c->margin ? margin : c->margin;
    c->load = larger(c->load, sqrt(felt.y * felt.y + felt.z * felt.z) / 9.80665);
    if (incidence > 0.2617993877991494) c->time_incidence += in->period;
    if (!(5e5 < reynolds && reynolds < 1e8)) c->time_reynolds += in->period;
    for (long p = 0; p < in->panels; p++) {
        const double *seen = in->seen + SEEN_COLUMNS * p;
        stalled = larger(stalled, seen[SEEN_STALL]);
        if (in->panel[PANEL_COLUMNS * p + 6] >= 0.0) c->hinge = larger(c->hinge, fabs(seen[SEEN_HINGE]));
    }
    if (stalled > 0.5) c->time_stalled += in->period;
    if (c->enabled > 0.5) watch_control(s, boosting, c);
}

static void watch_servos(const Input *in, const Servos *x, double h, Computer *c) {
    if (c->enabled < 0.5) return;
    for (long i = 0; i < in->controls; i++) {
        double moved = fabs(x->fins[2][i] - x->fins[0][i]);
        c->travel += moved;
        c->energy += moved * fabs(x->hinge[i]);
        c->moving += h;
        if (fabs(x->motors[5][i]) >= 0.99 * in->rate_limit) c->at_rate += h;
    }
}

/* Hand over every outcome, so that the compiler cannot leave out what the kernel works out too. */
static void report(const Computer *c, double *out) {
    double lives = larger(c->lives, 1.0);
    double all[OUTCOMES] = {
        c->speed, c->margin, sqrt((c->boost2 + c->coast2) / lives), c->error, c->hinge, c->reversals, c->mach,
        c->pressure, c->force, c->incidence, c->tilt, sqrt(c->roll2 / lives), c->roll, c->load, c->cuts / lives,
        c->attitude_error,
        c->place_error, c->velocity_error, c->travel, c->energy, c->at_rate / larger(c->moving, 1e-9), c->time_mach,
        c->time_sonic, c->time_incidence, c->time_reynolds, c->time_stalled, sqrt(c->boost2 / larger(c->boosts, 1.0)),
        sqrt(c->coast2 / larger(c->coasts, 1.0))};
    for (int i = 0; i < OUTCOMES; i++) out[i] = all[i];
}

/* ------------------------------------------------------------------ the flight */

/* Fly to apogee; out: time, east, north, height of apogee, then what `report` hands over. Return 0 if reached. */
int fly_ascent(const Input *in, double *out) {
    State s = in->rest;
    double t = 0.0, longest = in->period / in->steps_per_tick;
    double late = in->delay - (long)(in->delay / in->period + 1e-9) * in->period;
    Servos x = {0};
    long segment = 0, tick_number = 0;
    int phase = HOLD;
    Burn burn = burn_segment(in, 0);
    Body body = body_at(in, 0.0, burn);
    Computer c = {.liftoff = -1, .rail = -1, .apogee = -1, .quiet = -1, .sinking = -1, .highest = -INFINITY,
                  .true_burnout = -1, .goal = {1, 0, 0, 0}, .margin = INFINITY};
    for (long i = 0; i < in->controls; i++)
        x.targets[i] = x.motors[0][i] = x.fins[0][i] = x.fins[1][i] = x.fins[2][i] = in->centring[i];
    for (int i = 0; i < MOST_RULES; i++) c.armed[i] = c.fired[i] = c.given_up[i] = -1.0;
    for (int i = 0; i < MOST_BURNS; i++) c.ignition[i] = c.burnout[i] = -1.0;

    while (t < in->time_limit) {
        Loads l = loads(in, &s, &body, x.fins, 0);
        State k1 = state_rate(in, phase, &s, &body, &l);
        Vec turn = cross(in->earth, s.v);
        Vec felt = to_body(l.m, (Vec){k1.v.x + 2 * turn.x, k1.v.y + 2 * turn.y, k1.v.z + 2 * turn.z + l.gravity});
        tick(in, t, tick_number, &s, felt, &x, &c);
        for (long p = 0; p < in->panels; p++) {
            long control = (long)in->panel[PANEL_COLUMNS * p + 6];
            if (control >= 0) x.hinge[control] = in->seen[SEEN_COLUMNS * p + SEEN_HINGE];
        }
        watch(in, phase, burn.burning > 0.5, &s, &body, &l, felt, &c);
        int switched = late <= 0.0;
        double t_switch = t + late;
        pick_targets(in, &x, tick_number, !switched);
        double t_tick = ++tick_number * in->period;
        int fresh = 1;
        while (t < t_tick) {
            double stop = t_tick, t_break = INFINITY;
            int breaks = burn.burning > 0.5;
            if (breaks) t_break = in->time[segment + 1];
            if (t_break < stop) stop = t_break;
            if (!switched && t_switch < stop) stop = t_switch;
            double t_next = t + longest;
            if (t_next > stop - 1e-9) t_next = stop;
            double h = t_next - t;
            if (h > 0.0) {
                Body middle = body, end = body;
                if (breaks) {
                    middle = body_at(in, t + 0.5 * h, burn);
                    end = body_at(in, t_next, burn);
                }
                if (phase == HOLD) {
                    Loads l1 = loads(in, &s, &end, x.fins, 0);
                    double pull1 = rail_pull(in, &s, &end, &l1);
                    if (pull1 > 0.0) {
                        Loads l0 = loads(in, &s, &body, x.fins, 0);
                        double pull0 = rail_pull(in, &s, &body, &l0);
                        t_next = pull0 >= 0.0 ? t : t + h * pull0 / (pull0 - pull1);
                        end = body_at(in, t_next, burn);
                        phase = ON_RAIL;
                    }
                } else {
                    move_fins(in, &x, h);
                    watch_servos(in, &x, h, &c);
                    if (!fresh) k1 = deriv(in, phase, &s, &body, x.fins, 0);
                    State s1 = rk4(in, phase, s, h, k1, &middle, &end, x.fins);
                    double g_high = gap(in, phase, &s1);
                    if (g_high <= 0.0) {
                        double low = 0.0, high = h, g_low = gap(in, phase, &s), y = h;
                        int last = 0;
                        for (int i = 0; i < 60; i++) {
                            y = (low * g_high - high * g_low) / (g_high - g_low);
                            if (!(low < y && y < high)) y = 0.5 * (low + high);
                            move_fins(in, &x, y);
                            middle = body_at(in, t + 0.5 * y, burn);
                            end = body_at(in, t + y, burn);
                            s1 = rk4(in, phase, s, y, k1, &middle, &end, x.fins);
                            double g = gap(in, phase, &s1);
                            if (g > 0.0) {
                                if (last > 0) g_high *= 0.5;
                                low = y, g_low = g, last = 1;
                            } else {
                                if (last < 0) g_low *= 0.5;
                                high = y, g_high = g, last = -1;
                            }
                            if (high - low < 1e-12 * h || g == 0.0) break;
                        }
                        t_next = t + y;
                        if (phase == FREE) {
                            out[0] = t_next;
                            out[1] = s1.r.x;
                            out[2] = s1.r.y;
                            out[3] = s1.r.z;
                            report(&c, out + 4);
                            return 0;
                        }
                        phase = phase == ON_RAIL ? PIVOT : FREE;
                    }
                    s = s1;
                    keep_fins(in, &x);
                }
                body = end;
            }
            t = t_next;
            fresh = 0;
            if (!switched && t >= t_switch - 1e-9) {
                switched = 1;
                pick_targets(in, &x, tick_number - 1, 0);
            }
            if (breaks && t >= t_break - 1e-9) {
                burn = burn_segment(in, ++segment);
                body = body_at(in, t, burn);
                if (segment >= in->breaks - 1) c.true_burnout = t;
            }
        }
    }
    return 1;
}

int fly_many(const Input *in, double *out, long count) {
    int status = 0;
    for (long i = 0; i < count; i++) status |= fly_ascent(in, out);
    return status;
}
