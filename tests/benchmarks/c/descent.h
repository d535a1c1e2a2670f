/* Under canopies: sixdof.core.descent. */

typedef struct {
    long canopies;
    double (*canopy)[CanopyColumn_WIDTH], *deployed, hanging, before, fore_x;
} Rig;

INLINE double fill_share(double since, const double *row) {
    if (since < 0.0) return 0.0;
    return row[CanopyColumn_FILL_TIME] <= 0.0 ? 1.0 : least(since / row[CanopyColumn_FILL_TIME], 1.0);
}
INLINE double filled(double since, const double *row) {
    double reefed = row[CanopyColumn_REEFING_RATIO], f = fill_share(since, row), share = reefed * f * f;
    if (reefed < 1.0) {
        double more = fill_share(since - row[CanopyColumn_REEFING_TIME], row);
        share += (1.0 - reefed) * more * more;
    }
    return share;
}
/* drag areas of the canopies and of the airframe at t */
static void areas_at(double t, const Rig *rig, double *lines, double *airframe) {
    double total = 0.0, share = 0.0;
    for (long c = 0; c < rig->canopies; c++) {
        if (rig->deployed[c] < 0.0) continue;
        const double *row = rig->canopy[c];
        double since = t - rig->deployed[c] - row[CanopyColumn_WAIT], f = fill_share(since, row);
        total += row[CanopyColumn_DRAG_AREA] * filled(since, row);
        share = largest(share, f * f);
    }
    *lines = total;
    *airframe = rig->before + (rig->hanging - rig->before) * share;
}
static double flown_area(const Drawn *d, const Body *body, const Loads *l) {
    if (l->pressure < 1.0) return 0.0;
    return largest(-dot(sub(l->force, scale(d->thrust_line, body->thrust)), l->u) / (l->speed * l->pressure), 0.0);
}
static double line_stretch(const Rig *rig, long c) { return rig->deployed[c] >= 0.0 ? rig->deployed[c] + rig->canopy[c][CanopyColumn_WAIT] : INFINITY; }

static int opens(double t, const Rig *rig) {
    for (long c = 0; c < rig->canopies; c++) {
        if (rig->deployed[c] < 0.0) continue;
        const double *row = rig->canopy[c];
        double since = t - rig->deployed[c] - row[CanopyColumn_WAIT];
        double late = row[CanopyColumn_REEFING_RATIO] < 1.0 ? since - row[CanopyColumn_REEFING_TIME] : -1.0;
        if (since < row[CanopyColumn_FILL_TIME] || (0.0 <= late && late < row[CanopyColumn_FILL_TIME])) return 1;
    }
    return 0;
}
static double next_change(double t, const Rig *rig) {
    double soon = INFINITY;
    for (long c = 0; c < rig->canopies; c++) {
        if (rig->deployed[c] < 0.0) continue;
        const double *row = rig->canopy[c];
        double stretch = rig->deployed[c] + row[CanopyColumn_WAIT];
        double cut = stretch + (row[CanopyColumn_REEFING_RATIO] < 1.0 ? row[CanopyColumn_REEFING_TIME] : 0.0);
        double moments[4] = {stretch, stretch + row[CanopyColumn_FILL_TIME], cut, cut + row[CanopyColumn_FILL_TIME]};
        for (int i = 0; i < 4; i++)
            if (t + 1e-9 < moments[i] && moments[i] < soon) soon = moments[i];
    }
    return soon;
}

/* Note each canopy's pull and lose one beyond its strength; return the canopy whose harness breaks, or -1. */
static long pull_canopies(double t, const State *s, const Drawn *d, const Rig *rig, double *most, int *lost) {
    Air air = air_at(d, s->r.z);
    Vec3 u = sub(s->v, wind_at(d, s->r.z));
    double pressure = 0.5 * air.density * dot(u, u);
    *lost = 0;
    for (long c = 0; c < rig->canopies; c++) {
        if (rig->deployed[c] < 0.0) continue;
        const double *row = rig->canopy[c];
        double since = t - rig->deployed[c] - row[CanopyColumn_WAIT], last = row[CanopyColumn_REEFING_RATIO] < 1.0 ? row[CanopyColumn_REEFING_TIME] : 0.0;
        double factor = since <= last + row[CanopyColumn_FILL_TIME] + 1e-9 ? row[CanopyColumn_OPENING_COEFFICIENT] : 1.0;
        double pull = factor * pressure * row[CanopyColumn_DRAG_AREA] * filled(since, row);
        most[c] = largest(most[c], pull);
        if (pull > row[CanopyColumn_STRENGTH]) {
            rig->deployed[c] = LOST;
            *lost = 1;
        } else if (pull * row[CanopyColumn_HARNESS_SHARE] > row[CanopyColumn_HARNESS_STRENGTH]) {
            return c;
        }
    }
    return -1;
}

INLINE State falling_rate(const State *s, const Drawn *d, const Body *body, double lines, double airframe, double fore_x) {
    Air air = air_at(d, s->r.z);
    Vec3 earth = d->model->world.earth_rate, u = sub(s->v, wind_at(d, s->r.z));
    Mat m = matrix_of(s->q);
    double speed = norm(u), thickness = 0.5 * air.density * speed;
    Vec3 f = add(scale(u, -thickness * (lines + airframe)), scale(to_world(m, d->thrust_line), body->thrust)), c = cross(earth, s->v);
    Vec3 a = {f.x / body->mass - 2.0 * c.x, f.y / body->mass - 2.0 * c.y, f.z / body->mass - 2.0 * c.z - air.gravity};
    Vec3 rate = sub(s->w, to_body(m, earth)), lever = arm(body->cg, fore_x);
    Vec3 turn = turn_rate(s, body, cross(lever, to_body(m, scale(u, -thickness * lines))));
    double damping = 2.0 * 0.15 * sqrt(thickness * speed * lines * fabs(lever.x) / body->inertia.yy);
    return (State){s->v, a, quaternion_rate(s->q, rate), sub(turn, scale(rate, damping))};
}

static double longest_fall_step(const State *s, const Drawn *d, const Body *body, double lines, double airframe, double fore_x) {
    Air air = air_at(d, s->r.z);
    double speed = norm(sub(s->v, wind_at(d, s->r.z))), thickness = 0.5 * air.density * speed, slowing = thickness * (lines + airframe) / body->mass;
    double turning = norm(s->w), swing = sqrt(thickness * speed * lines * fabs(body->cg.x - fore_x) / body->inertia.yy) + turning;
    double share = turning < 0.05 ? 0.5 : 0.25;
    return least(0.1 / largest(slowing, 1e-6), largest(share / largest(swing, 1e-6), 1e-4));
}

static State fall_step(double t, const State *s, double h, const Drawn *d, const Body *start, const Body *middle, const Body *end, const Rig *rig) {
    const Body *bodies[4] = {start, middle, middle, end};
    const double reach[4] = {0.0, 0.5 * h, 0.5 * h, h}, weight[4] = {h / 6.0, h / 3.0, h / 3.0, h / 6.0};
    const double moment[4] = {t + 1e-9, t + 0.5 * h, t + 0.5 * h, t + h - 1e-9};
    State total = *s, k = *s;
    double lines = 0.0, airframe = 0.0;
    for (int i = 0; i < 4; i++) {
        if (i != 2) areas_at(moment[i], rig, &lines, &airframe);
        State x = i == 0 ? *s : axpy(*s, k, reach[i]);
        k = falling_rate(&x, d, bodies[i], lines, airframe, rig->fore_x);
        total = axpy(total, k, weight[i]);
    }
    total.q = normalised(total.q);
    return total;
}
