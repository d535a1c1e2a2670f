/* Equations of motion, Runge-Kutta 4, event functions, servos: sixdof.core.motion, step, actuator. */

enum { HOLD, ON_RAIL, PIVOT, FREE, CANOPY, LANDED };
enum { GAP_FORE, GAP_AFT, GAP_CLIMB, GAP_GROUND, GAP_SLIP };

INLINE Vec3 acceleration(const Drawn *d, const State *s, const Body *b, const Loads *l) {
    Vec3 f = scale(to_world(l->m, l->force), 1.0 / b->mass), c = cross(d->model->world.earth_rate, s->v);
    return (Vec3){f.x - 2.0 * c.x, f.y - 2.0 * c.y, f.z - 2.0 * c.z - l->gravity};
}
INLINE Vec3 turn_rate(const State *s, const Body *b, Vec3 moment) { return sym_times(b->inverse, sub(moment, cross(s->w, sym_times(b->inertia, s->w)))); }

static double rail_pull(const Drawn *d, const State *s, const Body *b, const Loads *l) {
    Vec3 a = acceleration(d, s, b, l);
    double along = dot(a, d->rail_line);
    return along - d->model->rail.friction * norm(sub(a, scale(d->rail_line, along)));
}

static __attribute__((noinline)) State pivot_rate(const Drawn *d, const State *s, const Body *b, const Loads *l) {
    Vec3 u = d->rail_line, side = fabs(u.z) < 0.9 ? (Vec3){0, 0, 1} : (Vec3){1, 0, 0}, w1 = cross(u, side);
    w1 = scale(w1, 1.0 / norm(w1));
    Vec3 e1 = to_body(l->m, w1), e2 = to_body(l->m, cross(u, w1)), guide = arm(b->cg, d->model->rail.aft_x);
    Vec3 a0 = to_body(l->m, acceleration(d, s, b, l)), turn0 = turn_rate(s, b, l->moment);
    Vec3 point = add(add(a0, cross(turn0, guide)), cross(l->rate, cross(l->rate, guide)));
    Vec3 p1 = add(scale(e1, 1.0 / b->mass), cross(sym_times(b->inverse, cross(guide, e1)), guide));
    Vec3 p2 = add(scale(e2, 1.0 / b->mass), cross(sym_times(b->inverse, cross(guide, e2)), guide));
    Vec3 down = scale(to_body(l->m, u), -1.0), pd = add(scale(down, 1.0 / b->mass), cross(sym_times(b->inverse, cross(guide, down)), guide));
    double a11 = dot(e1, p1), a12 = dot(e1, p2), a21 = dot(e2, p1), a22 = dot(e2, p2), k = 1.0 / (a11 * a22 - a12 * a21);
    double drag = 0.0, n1 = 0.0, n2 = 0.0;
    for (int i = 0; i < 4; i++) { /* friction turns the vehicle too, which changes the forces it comes from */
        double b1 = -dot(e1, point) - drag * dot(e1, pd), b2 = -dot(e2, point) - drag * dot(e2, pd);
        n1 = (b1 * a22 - b2 * a12) * k;
        n2 = (a11 * b2 - a21 * b1) * k;
        drag = d->model->rail.friction * sqrt(n1 * n1 + n2 * n2);
    }
    Vec3 f = add(add(scale(e1, n1), scale(e2, n2)), scale(down, drag));
    return (State){s->v, to_world(l->m, add(a0, scale(f, 1.0 / b->mass))), quaternion_rate(s->q, l->rate),
                   add(turn0, sym_times(b->inverse, cross(guide, f)))};
}

INLINE State state_rate(const Drawn *d, int phase, const State *s, const Body *b, const Loads *l) {
    if (phase == FREE) return (State){s->v, acceleration(d, s, b, l), quaternion_rate(s->q, l->rate), turn_rate(s, b, l->moment)};
    if (phase == PIVOT) return pivot_rate(d, s, b, l);
    return (State){s->v, scale(d->rail_line, rail_pull(d, s, b, l)), {0, 0, 0, 0}, {0, 0, 0}};
}

/* k1: the rate at the start, worked out here if it is NULL. */
static State rk4_step(const Drawn *d, int phase, const State *s, double h, const State *k1, const Body *start, const Body *middle, const Body *end,
                      const Fins fins) {
    const Body *bodies[4] = {start, middle, middle, end};
    const double reach[4] = {0.0, 0.5 * h, 0.5 * h, h}, weight[4] = {h / 6.0, h / 3.0, h / 3.0, h / 6.0};
    const int rows[4] = {FinRow_START, FinRow_MIDDLE, FinRow_MIDDLE, FinRow_END};
    State total = *s, k = *s;
    for (int i = 0; i < 4; i++) {
        if (i == 0 && k1) {
            k = *k1;
        } else {
            State x = i == 0 ? *s : axpy(*s, k, reach[i]);
            Loads l;
            loads(d, &x, bodies[i], fins, rows[i], &l);
            k = state_rate(d, phase, &x, bodies[i], &l);
        }
        total = axpy(total, k, weight[i]);
    }
    total.q = normalised(total.q);
    return total;
}

static double guide_travel(const Drawn *d, const State *s) {
    return dot(add(s->r, to_world(matrix_of(s->q), d->guide)), d->rail_line) - d->guide_at_rest;
}
static double gap(const Drawn *d, int kind, const State *s) {
    if (kind == GAP_FORE) return d->model->rail.fore_travel - guide_travel(d, s);
    if (kind == GAP_AFT) return d->model->rail.aft_travel - guide_travel(d, s);
    if (kind == GAP_CLIMB) return s->v.z;
    if (kind == GAP_SLIP) return dot(s->v, d->rail_line);
    return s->r.z;
}

/* ------------------------------------------------------------------ servos */

typedef struct {
    Fins fins;
    double motors[MotorRow_WIDTH][MOST_FINS], hinge[MOST_FINS], targets[MOST_FINS], health[MOST_FINS], issued[ISSUED][MOST_FINS];
} Servos;

/* how the motor moves without limits from one look to the next */
typedef struct {
    double time, arrival, reach, pull, brake;
} FreeMotion;

INLINE FreeMotion free_motion(const Servo *v, double x) {
    double g = 2.0 * v->damping * v->frequency * x, k = v->frequency * v->frequency * x * x;
    double last = 0.0, term = 0.5, response = 0.0, slope = 0.0;
    for (int n = 2; n < TERMS; n++) {
        response += term;
        slope += n * term;
        double next = -(n * g * term + k * last) * (1.0 / (n * (n + 1)));
        last = term;
        term = next;
    }
    return (FreeMotion){x, k * response, x * slope, v->frequency * v->frequency * x * slope, g * slope + k * response};
}
INLINE void advance(const Servo *v, const FreeMotion *free, double *angle, double *rate, double target, double up, double down) {
    double way = target - *angle, most = v->acceleration_limit * free->time, gained = free->pull * way - free->brake * *rate;
    double end = clip(*rate + clip(gained, -most, most), -down, up);
    double beyond = *angle + (end == *rate + gained ? free->arrival * way + free->reach * *rate : 0.5 * free->time * (*rate + end));
    *angle = clip(beyond, -v->travel, v->travel);
    *rate = *angle == beyond ? end : 0.0;
}
static void move_fins(const Servo *v, long controls, Servos *x, double h) {
    double half = 0.5 * v->backlash, (*fins)[MOST_FINS] = x->fins, (*motors)[MOST_FINS] = x->motors;
    FreeMotion free = free_motion(v, h / LOOKS);
    for (long i = 0; i < controls; i++) {
        double up = v->rate_limit, down = v->rate_limit;
        if (v->stall_torque < INFINITY) {
            double share = x->hinge[i] / v->stall_torque;
            up *= clip(1.0 + share, 0.0, 1.0);
            down *= clip(1.0 - share, 0.0, 1.0);
        }
        if (x->health[i] > 0.0) up = down = 0.0;
        motors[MotorRow_UP][i] = up;
        motors[MotorRow_DOWN][i] = down;
        motors[MotorRow_ANGLE_END][i] = motors[MotorRow_ANGLE_START][i];
        motors[MotorRow_RATE_END][i] = clip(motors[MotorRow_RATE_START][i], -down, up);
        fins[FinRow_NEXT][i] = fins[FinRow_MIDDLE][i] = fins[FinRow_END][i] = fins[FinRow_START][i];
    }
    for (int look = 1; look <= LOOKS; look++) {
        double past = (double)look / LOOKS, weight = (look == LOOKS ? 1.0 : 2.0 + 2.0 * (look % 2)) / (3.0 * LOOKS);
        double to_middle = 3.0 * weight * (1.0 - past), to_end = 6.0 * weight * (2.0 * past - 1.0);
        for (long i = 0; i < controls; i++) {
            double a = motors[MotorRow_ANGLE_END][i];
            advance(v, &free, &a, &motors[MotorRow_RATE_END][i], x->targets[i], motors[MotorRow_UP][i], motors[MotorRow_DOWN][i]);
            motors[MotorRow_ANGLE_END][i] = a;
            double fin = clip(fins[FinRow_NEXT][i], a - half, a + half), moved = fin - fins[FinRow_START][i];
            fins[FinRow_NEXT][i] = fin;
            fins[FinRow_MIDDLE][i] += to_middle * moved;
            fins[FinRow_END][i] += to_end * moved;
        }
    }
}
static void keep_fins(long controls, Servos *x) {
    for (long i = 0; i < controls; i++) {
        x->fins[FinRow_START][i] = x->fins[FinRow_NEXT][i];
        x->motors[MotorRow_ANGLE_START][i] = x->motors[MotorRow_ANGLE_END][i];
        x->motors[MotorRow_RATE_START][i] = x->motors[MotorRow_RATE_END][i];
    }
}
static void issue(const Servo *v, long controls, const double *command, Servos *x, long tick) {
    double *now = x->issued[tick % ISSUED];
    const double *last = x->issued[(tick + ISSUED - 1) % ISSUED];
    for (long i = 0; i < controls; i++) {
        double wanted = command[i];
        if (v->resolution > 0.0) wanted = floor(wanted / v->resolution + 0.5) * v->resolution;
        if (tick > 0 && fabs(wanted - last[i]) <= v->dead_band) wanted = last[i];
        now[i] = clip(wanted, -v->travel, v->travel);
    }
}
static void pick_targets(const Servo *v, double period, const double *centring, long controls, Servos *x, long tick, int late) {
    long k = tick - (long)(v->delay / period + 1e-9) - late;
    for (long i = 0; i < controls; i++) x->targets[i] = centring[i] + (k >= 0 ? x->issued[k % ISSUED][i] : 0.0);
}
static void fail_fins(double t, const Table *failure, Servos *x) {
    for (long i = 0; i < failure->n[0]; i++) {
        const double *row = row_of(failure, i);
        if (row[FailureColumn_KIND] > 0.0 && t >= row[FailureColumn_TIME] && x->health[i] == 0.0) {
            x->health[i] = row[FailureColumn_KIND];
            if ((int)row[FailureColumn_KIND] == DEAD) x->fins[FinRow_CARRIED][i] = 0.0;
        }
    }
}
