/* The ascent from the rail to apogee in scalar C: the yardstick for the compiled kernel's speed.
 *
 * Same equations, tables, ticks and RK4 steps as sixdof.core. kernel_speed.py fills `Input`, compiles and calls this.
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
    BODY_COLUMNS = 7,
    FIN_COLUMNS = 8,
    PANEL_COLUMNS = 10,
    RULE_COLUMNS = 8,
    AIR_COLUMNS = 5,
    MOST_FINS = 16,
    MOST_RULES = 16
};
enum { HOLD, ON_RAIL, PIVOT, FREE };
enum { FRICTION_ROUNDS = 4 }; /* as in sixdof.core.motion.pivot_rate */

/* field by field as in kernel_speed.py */
typedef struct {
    const double *air, *wind, *body, *fin, *friction, *panel, *time, *force, *impulse, *profile, *gains, *mixer, *rules;
    long airs, winds, bodies, sets, friction_columns, panels, breaks, profiles, controls, rules_n, steps_per_tick;
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
    double frequency, damping, rate_limit, acceleration_limit, travel, period;
    Quat frame;
    double time_limit;
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
    double gravity, speed, cross_speed, mach, pressure;
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

static inline Loads loads(const Input *in, const State *s, const Body *body, const double *fins) {
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
    long mi, ri, ci;
    double mf = cell(mach * in->per_mach, in->bodies, &mi);
    const double *table = in->body + BODY_COLUMNS * mi;
    double rf = cell(sqrt(sqrt(speed * density / viscosity)) * in->per_root, in->friction_columns, &ri);
    const double *low = in->friction + in->friction_columns * mi + ri, *high = low + in->friction_columns;
    double fa = low[0] + mf * (high[0] - low[0]), fb = low[1] + mf * (high[1] - low[1]);
    double axial = u.x >= 0.0 ? fa + rf * (fb - fa) + at(table, BODY_COLUMNS, 3, mf) +
                                    body->burning * at(table, BODY_COLUMNS, 4, mf)
                              : at(table, BODY_COLUMNS, 5, mf);
    double fx = -half * u.x * fabs(u.x) * in->area * axial * in->drag;

    double s0 = at(table, BODY_COLUMNS, 0, mf), t1 = at(table, BODY_COLUMNS, 1, mf), cp = in->cp_shift;
    double s1 = t1 + s0 * cp, s2 = at(table, BODY_COLUMNS, 2, mf) + (2 * t1 + s0 * cp) * cp;
    double first = s0 * cg.x - s1, second = s0 * cg.x * cg.x - 2 * s1 * cg.x + s2, cosine = fabs(u.x) / speed;
    double potential = -half * in->area * fabs(u.x) * sqrt(0.5 * (1.0 + cosine)) * in->normal;
    double fy = potential * (s0 * u.y + first * rate.z), fz = potential * (s0 * u.z - first * rate.y);
    double my = -potential * (first * u.z - second * rate.y), mz = potential * (first * u.y + second * rate.z),
           mx = 0.0;

    double cf = cell(cross_speed / sound * in->per_mach, in->bodies, &ci);
    double cdc = at(in->body + BODY_COLUMNS * ci, BODY_COLUMNS, 6, cf) * in->normal;
    double centroid = in->plan1 / in->plan0, spread2 = in->plan2 / in->plan0 - centroid * centroid;
    double arm = cg.x - centroid - cp, vy = u.y + rate.z * arm, vz = u.z - rate.y * arm;
    double viscous = -half * cdc * in->plan0 * sqrt(vy * vy + vz * vz + (rate.y * rate.y + rate.z * rate.z) * spread2);
    fy += viscous * vy;
    fz += viscous * vz;
    my += -arm * viscous * vz + viscous * spread2 * rate.y;
    mz += arm * viscous * vy + viscous * spread2 * rate.z;

    double current = -1.0, slope = 0, x = 0, kw = 0, kb = 0, dw = 0, db = 0, xb = 0, stall = 0;
    for (long p = 0; p < in->panels; p++) {
        const double *row = in->panel + PANEL_COLUMNS * p;
        if (row[0] != current) { /* panels of a set stand together in the table */
            const double *set = in->fin + FIN_COLUMNS * (in->sets * mi + (long)row[0]);
            long step = FIN_COLUMNS * in->sets;
            current = row[0];
            slope = at(set, step, 0, mf) * in->normal, x = at(set, step, 1, mf) + cp, kw = at(set, step, 2, mf);
            kb = at(set, step, 3, mf), dw = at(set, step, 4, mf), db = at(set, step, 5, mf),
            xb = at(set, step, 6, mf) + cp;
            stall = at(set, step, 7, mf);
        }
        double sn = row[1], c = row[2], y = row[3];
        long control = (long)row[6];
        double sine = small_sin(row[5] + in->cant + (control >= 0 ? fins[control] : 0.0));
        double lever = cg.x - x, along = u.x + y * (rate.y * c + rate.z * sn);
        double across = -c * (u.y + rate.z * lever) - sn * (u.z - rate.y * lever) + rate.x * row[4];
        double v2 = along * along + across * across, inverse = 1.0 / sqrt(v2 + 1e-12);
        double incidence = -across * inverse, turned = sine * along * inverse;
        double bent = clip(kw * incidence + dw * turned, -1.0, 1.0),
               w = clip((fabs(bent) - stall) * (1.0 / 0.15), 0.0, 1.0);
        w = w * w * (3.0 - 2.0 * w);
        double q_area = half * v2 * in->area, attached = slope * bent * sqrt(1.0 - bent * bent);
        double plate = in->normal * row[9] * row[7] / in->area * bent / (0.56 + 0.44 * fabs(bent));
        double load = q_area * (attached + w * (plate - attached));
        double carried = q_area * (1.0 - w) * slope * (kb * incidence + db * turned) * fabs(along) * inverse;
        double px = -load * sine, turn = lever * load + (cg.x - xb) * carried, total = load + carried;
        fx += px;
        fy -= c * total;
        fz -= sn * total;
        mx += y * load;
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
        m, {fx + t.x, fy + t.y, fz + t.z}, moment, rate, u, gravity, speed, cross_speed, mach, half * speed2};
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

static State deriv(const Input *in, int phase, const State *s, const Body *b, const double *fins) {
    Loads l = loads(in, s, b, fins);
    return state_rate(in, phase, s, b, &l);
}

static State rk4(const Input *in, int phase, State s, double h, State k1, const Body *middle, const Body *end,
                 double fins[3][MOST_FINS]) {
    State x = axpy(s, k1, 0.5 * h);
    State k2 = deriv(in, phase, &x, middle, fins[1]);
    x = axpy(s, k2, 0.5 * h);
    State k3 = deriv(in, phase, &x, middle, fins[1]);
    x = axpy(s, k3, h);
    State k4 = deriv(in, phase, &x, end, fins[2]);
    s = axpy(axpy(axpy(axpy(s, k1, h / 6), k2, h / 3), k3, h / 3), k4, h / 6);
    double k = 1.0 / sqrt(s.q.w * s.q.w + s.q.x * s.q.x + s.q.y * s.q.y + s.q.z * s.q.z);
    s.q = (Quat){s.q.w * k, s.q.x * k, s.q.y * k, s.q.z * k};
    return s;
}

static double travelled(const Input *in, const State *s, const Body *b) {
    Vec arm = {b->cg.x - in->aft_x, -b->cg.y, -b->cg.z};
    return dot(add(s->r, to_world(matrix_of(s->q), arm)), in->line) - (in->base_x - in->aft_x);
}

static double gap(const Input *in, int phase, const State *s, const Body *b) {
    if (phase == ON_RAIL) return in->fore_travel - travelled(in, s, b);
    if (phase == PIVOT) return in->aft_travel - travelled(in, s, b);
    return s->v.z;
}

/* ------------------------------------------------------------------ actuators */

static inline void servo_rates(const Input *in, double a, double r, double command, double *da, double *dr) {
    r = clip(r, -in->rate_limit, in->rate_limit);
    double pull = in->frequency * (in->frequency * (command - a) - 2.0 * in->damping * r);
    pull = clip(pull, -in->acceleration_limit, in->acceleration_limit);
    if ((r >= in->rate_limit && pull > 0.0) || (r <= -in->rate_limit && pull < 0.0)) pull = 0.0;
    *da = r;
    *dr = pull;
}

static inline void servo_step(const Input *in, double *a, double *r, double command, double h) {
    double a1, a2, a3, a4, b1, b2, b3, b4;
    servo_rates(in, *a, *r, command, &a1, &b1);
    servo_rates(in, *a + 0.5 * h * a1, *r + 0.5 * h * b1, command, &a2, &b2);
    servo_rates(in, *a + 0.5 * h * a2, *r + 0.5 * h * b2, command, &a3, &b3);
    servo_rates(in, *a + h * a3, *r + h * b3, command, &a4, &b4);
    *a += h / 6.0 * (a1 + 2 * a2 + 2 * a3 + a4);
    *r = clip(*r + h / 6.0 * (b1 + 2 * b2 + 2 * b3 + b4), -in->rate_limit, in->rate_limit);
    if (*a >= in->travel) {
        *a = in->travel;
        *r = *r < 0.0 ? *r : 0.0;
    }
    if (*a <= -in->travel) {
        *a = -in->travel;
        *r = *r > 0.0 ? *r : 0.0;
    }
}

static void move_fins(const Input *in, double fins[3][MOST_FINS], double rates[3][MOST_FINS], const double *command,
                      double h) {
    for (long i = 0; i < in->controls; i++) {
        double a = fins[0][i], r = rates[0][i];
        servo_step(in, &a, &r, command[i], 0.5 * h);
        fins[1][i] = a;
        rates[1][i] = r;
        servo_step(in, &a, &r, command[i], 0.5 * h);
        fins[2][i] = a;
        rates[2][i] = r;
    }
}

/* ------------------------------------------------------------------ flight computer and observer */

typedef struct {
    double liftoff, rail, burnout, apogee, enabled, memory[3], armed[MOST_RULES], fired[MOST_RULES], command[MOST_FINS];
    Quat goal;
    double speed, mach, pressure, force, incidence, tilt, margin, error2, ticks, error, roll;
} Computer;

static Quat tilt_quaternion(double pitch, double yaw, double roll) {
    Quat a = {cos(0.5 * yaw), 0, 0, sin(0.5 * yaw)}, b = {cos(0.5 * pitch), 0, -sin(0.5 * pitch), 0},
         c = {cos(0.5 * roll), sin(0.5 * roll), 0, 0};
    return multiply(multiply(a, b), c);
}

static void run_rules(const Input *in, double t, const State *s, double tilt, Computer *c) {
    double speed2 = dot(s->v, s->v);
    for (long i = 0; i < in->rules_n; i++) {
        const double *rule = in->rules + RULE_COLUMNS * i;
        if (c->fired[i] >= 0.0) continue;
        if (c->armed[i] < 0.0) {
            int due = 0;
            switch ((int)rule[0]) {
            case 0: due = t >= rule[1]; break;
            case 1: due = c->liftoff >= 0.0; break;
            case 2: due = c->rail >= 0.0; break;
            case 3: due = c->burnout >= 0.0; break;
            case 4: due = c->apogee >= 0.0; break;
            case 5: due = c->liftoff >= 0.0 && s->r.z >= rule[1]; break;
            case 6: due = c->apogee >= 0.0 && s->r.z <= rule[1]; break;
            }
            if (!due) continue;
            c->armed[i] = t;
        }
        if (t < c->armed[i] + rule[2] - 1e-9) continue;
        double low = rule[6] > 0.0 ? rule[6] : 0.0, high = rule[7];
        if (tilt > rule[5] || speed2 < low * low || (high < INFINITY && speed2 > high * high)) continue;
        c->fired[i] = t;
        if ((int)rule[3] == 0) c->enabled = 1.0;
        if ((int)rule[3] == 1) c->enabled = 0.0;
    }
}

static void tick(const Input *in, double t, const State *s, Vec felt, Computer *c) {
    if (c->liftoff < 0.0) {
        if (felt.x > 20.0 || s->r.z > 10.0) c->liftoff = t;
    } else {
        if (c->rail < 0.0 && dot(s->r, s->r) > in->aft_travel * in->aft_travel) c->rail = t;
        if (c->burnout < 0.0 && felt.x < 0.0) c->burnout = t;
        if (c->apogee < 0.0 && s->v.z < 0.0) c->apogee = t;
    }
    Mat m = matrix_of(multiply(conjugate(in->frame), s->q));
    run_rules(in, t, s, acos(clip(m.xx, -1.0, 1.0)), c);

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

    double demand[3] = {0, 0, 0};
    const double *g = in->gains;
    if (c->enabled < 0.5) {
        c->memory[0] = c->memory[1] = c->memory[2] = 0.0;
    } else {
        Quat e = multiply(conjugate(s->q), c->goal);
        double k = e.w >= 0.0 ? 2.0 : -2.0, gain = 1.0, error[3] = {k * e.x, k * e.y, k * e.z},
               rate[3] = {s->w.x, s->w.y, s->w.z};
        if (g[9] > 0.0) {
            long row;
            double a = cell((s->r.z - in->air_z0) * in->air_per_metre, in->airs, &row);
            double q = 0.5 * at(in->air + AIR_COLUMNS * row, AIR_COLUMNS, 0, a) * dot(s->v, s->v);
            gain = clip(g[9] / (q > 1.0 ? q : 1.0), g[10], g[11]);
        }
        for (int channel = 0; channel < 3; channel++) {
            const double *w = g + 3 * channel;
            c->memory[channel] = clip(c->memory[channel] + w[1] * error[channel] * in->period, -g[12], g[12]);
            demand[channel] = gain * (w[0] * error[channel] + c->memory[channel] - w[2] * rate[channel]);
        }
    }
    for (long fin = 0; fin < in->controls; fin++) {
        const double *x = in->mixer + 3 * fin;
        c->command[fin] = clip(x[0] * demand[0] + x[1] * demand[1] + x[2] * demand[2], -in->travel, in->travel);
    }
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

static void watch(const Input *in, int phase, const State *s, const Body *b, const Loads *l, Vec felt, Computer *c) {
    c->speed = larger(c->speed, l->speed);
    c->mach = larger(c->mach, l->mach);
    c->pressure = larger(c->pressure, l->pressure);
    if (phase != FREE && phase != PIVOT) return;
    c->force = larger(c->force, sqrt(dot(felt, felt)));
    if (l->speed <= 20.0) return;
    Mat m = matrix_of(multiply(conjugate(in->frame), s->q));
    c->incidence = larger(c->incidence, atan2(sqrt(l->u.y * l->u.y + l->u.z * l->u.z), l->u.x));
    c->tilt = larger(c->tilt, acos(clip(m.xx, -1.0, 1.0)));
    double margin = static_margin(in, l->mach, b->cg.x);
    c->margin = margin < c->margin ? margin : c->margin;
    if (c->enabled > 0.5) {
        Quat e = multiply(conjugate(s->q), c->goal);
        double nose = acos(clip(matrix_of(e).xx, -1.0, 1.0)), roll = fabs(2.0 * e.x);
        c->error2 += nose * nose;
        c->ticks += 1.0;
        c->error = larger(c->error, nose);
        c->roll = larger(c->roll, roll);
    }
}

/* ------------------------------------------------------------------ the flight */

/* Fly to apogee; out: time, east, north, height of apogee, largest airspeed, least margin, root mean square tilt error.
 * Return 0 if reached. */
int fly_ascent(const Input *in, double *out) {
    State s = in->rest;
    double fins[3][MOST_FINS] = {{0}}, rates[3][MOST_FINS] = {{0}}, t = 0.0, longest = in->period / in->steps_per_tick;
    long segment = 0, tick_number = 0;
    int phase = HOLD;
    Burn burn = burn_segment(in, 0);
    Body body = body_at(in, 0.0, burn);
    Computer c = {-1, -1, -1, -1, 0, {0}, {0}, {0}, {0}, {1, 0, 0, 0}, 0, 0, 0, 0, 0, 0, INFINITY, 0, 0, 0, 0};
    for (int i = 0; i < MOST_RULES; i++) c.armed[i] = c.fired[i] = -1.0;

    while (t < in->time_limit) {
        Loads l = loads(in, &s, &body, fins[0]);
        State k1 = state_rate(in, phase, &s, &body, &l);
        Vec turn = cross(in->earth, s.v);
        Vec felt = to_body(l.m, (Vec){k1.v.x + 2 * turn.x, k1.v.y + 2 * turn.y, k1.v.z + 2 * turn.z + l.gravity});
        tick(in, t, &s, felt, &c);
        watch(in, phase, &s, &body, &l, felt, &c);
        double t_tick = ++tick_number * in->period;
        int fresh = 1;
        while (t < t_tick) {
            double stop = t_tick, t_break = INFINITY;
            int breaks = burn.burning > 0.5;
            if (breaks) t_break = in->time[segment + 1];
            if (t_break < stop) stop = t_break;
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
                    Loads l1 = loads(in, &s, &end, fins[0]);
                    double pull1 = rail_pull(in, &s, &end, &l1);
                    if (pull1 > 0.0) {
                        Loads l0 = loads(in, &s, &body, fins[0]);
                        double pull0 = rail_pull(in, &s, &body, &l0);
                        t_next = pull0 >= 0.0 ? t : t + h * pull0 / (pull0 - pull1);
                        end = body_at(in, t_next, burn);
                        phase = ON_RAIL;
                    }
                } else {
                    move_fins(in, fins, rates, c.command, h);
                    if (!fresh) k1 = deriv(in, phase, &s, &body, fins[0]);
                    State s1 = rk4(in, phase, s, h, k1, &middle, &end, fins);
                    double g_high = gap(in, phase, &s1, &end);
                    if (g_high <= 0.0) {
                        double low = 0.0, high = h, g_low = gap(in, phase, &s, &body), x = h;
                        int last = 0;
                        for (int i = 0; i < 60; i++) {
                            x = (low * g_high - high * g_low) / (g_high - g_low);
                            if (!(low < x && x < high)) x = 0.5 * (low + high);
                            move_fins(in, fins, rates, c.command, x);
                            middle = body_at(in, t + 0.5 * x, burn);
                            end = body_at(in, t + x, burn);
                            s1 = rk4(in, phase, s, x, k1, &middle, &end, fins);
                            double g = gap(in, phase, &s1, &end);
                            if (g > 0.0) {
                                if (last > 0) g_high *= 0.5;
                                low = x, g_low = g, last = 1;
                            } else {
                                if (last < 0) g_low *= 0.5;
                                high = x, g_high = g, last = -1;
                            }
                            if (high - low < 1e-12 * h || g == 0.0) break;
                        }
                        t_next = t + x;
                        if (phase == FREE) {
                            out[0] = t_next;
                            out[1] = s1.r.x;
                            out[2] = s1.r.y;
                            out[3] = s1.r.z;
                            out[4] = c.speed;
                            out[5] = c.margin;
                            out[6] = sqrt(c.error2 / larger(c.ticks, 1.0));
                            return 0;
                        }
                        phase = phase == ON_RAIL ? PIVOT : FREE;
                    }
                    s = s1;
                    for (long i = 0; i < in->controls; i++) {
                        fins[0][i] = fins[2][i];
                        rates[0][i] = rates[2][i];
                    }
                }
                body = end;
            }
            t = t_next;
            fresh = 0;
            if (breaks && t >= t_break - 1e-9) {
                burn = burn_segment(in, ++segment);
                body = body_at(in, t, burn);
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
