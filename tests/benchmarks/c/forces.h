/* Air, wind, body, fin panels with their vortices, thrust: sixdof.core.forces. A flat Earth, no turbulence: as the demos have it. */

typedef struct {
    double density, pressure, sound, viscosity, gravity;
} Air;
typedef struct {
    Mat m;
    Vec3 force, moment, rate, wind, u;
    double gravity, height, speed, cross_speed, mach, pressure, reynolds;
} Loads;
typedef double Fins[FinRow_WIDTH][MOST_FINS];

INLINE Air air_at(const Drawn *d, double height) {
    const World *w = &d->model->world;
    long i;
    double f = cell((height - w->air_z0) * w->air_per_metre, w->air.n[0], &i);
    const double *a = d->air + AirColumn_WIDTH * i;
    return (Air){lerp(a, AirColumn_WIDTH, f, AirColumn_DENSITY), lerp(a, AirColumn_WIDTH, f, AirColumn_PRESSURE), lerp(a, AirColumn_WIDTH, f, AirColumn_SOUND),
                 lerp(a, AirColumn_WIDTH, f, AirColumn_VISCOSITY), lerp(a, AirColumn_WIDTH, f, AirColumn_GRAVITY)};
}

INLINE Vec3 wind_at(const Drawn *d, double height) {
    const World *w = &d->model->world;
    long i;
    double f = cell(sqrt(height > 0.0 ? height : 0.0) * w->wind_per_root, w->wind.n[1], &i);
    const double *a = w->wind.at + WindColumn_WIDTH * i;
    double e = d->wind_scale * lerp(a, WindColumn_WIDTH, f, WindColumn_EAST), n = d->wind_scale * lerp(a, WindColumn_WIDTH, f, WindColumn_NORTH);
    return (Vec3){d->wind_cos * e + d->wind_sin * n, d->wind_cos * n - d->wind_sin * e, 0.0};
}

/* What the panels of one set have in common at one Mach number. */
typedef struct {
    double slope, x, kw, kb, dw, db, xb, stall, plate, spin_lost, turned_lost;
} FinSet;

INLINE FinSet fin_set_at(const Drawn *d, long set, long i, double f, double back) {
    const Table *t = &d->model->aero.fin;
    long step = t->n[1] * FinColumn_WIDTH;
    const double *a = t->at + step * i + FinColumn_WIDTH * set;
    double x = lerp(a, step, f, FinColumn_X), xb = lerp(a, step, f, FinColumn_XB), dw = lerp(a, step, f, FinColumn_DW);
    if (back > 0.0) {
        double behind = lerp(a, step, f, FinColumn_X_BACK);
        x += back * (behind - x);
        xb += back * (behind - xb);
    }
    return (FinSet){lerp(a, step, f, FinColumn_SLOPE) * d->normal, x + d->cp_shift, lerp(a, step, f, FinColumn_KW), lerp(a, step, f, FinColumn_KB), dw,
                    lerp(a, step, f, FinColumn_DB), xb + d->cp_shift, lerp(a, step, f, FinColumn_STALL), lerp(a, step, f, FinColumn_PLATE),
                    1.0 - lerp(a, step, f, FinColumn_ROLL_DAMP), (1.0 - lerp(a, step, f, FinColumn_ROLL_DIRECT)) * dw};
}

/* Velocities along a panel's normal that the vortices of the sets ahead make: for its force and for its rolling moment. */
INLINE void wash_at(const Aero *aero, double receiver, double s, double c, Vec3 u, const double (*seen)[SeenColumn_WIDTH], double *wash, double *roll_wash) {
    *wash = *roll_wash = 0.0;
    if (u.x <= 0.0) return;
    long size = aero->wake.n[2], layer = size * size;
    double half = 0.5 * (size - 1.0);
    for (long pair = 0; pair < aero->wake_pair.n[0]; pair++) {
        const double *row = row_of(&aero->wake_pair, pair), *table = aero->wake.at + 2 * layer * pair;
        if (row[WakeColumn_RECEIVER] != receiver) continue;
        double drift = row[WakeColumn_LENGTH] / u.x;
        long first = (long)row[WakeColumn_FIRST], end = first + (long)row[WakeColumn_COUNT];
        for (long q = first; q < end; q++) {
            double y = seen[q][SeenColumn_Y] - u.y * drift, z = seen[q][SeenColumn_Z] - u.z * drift, strength = seen[q][SeenColumn_VORTEX];
            long i, j;
            double f = cell((c * z - s * y) * row[WakeColumn_PER_METRE] + half, size, &i);
            double g = cell((-c * y - s * z) * row[WakeColumn_PER_METRE] + half, size, &j);
            const double *low = table + size * i + j, *high = low + size; /* both layers at the same place */
            double a = low[0] + g * (low[1] - low[0]), b = high[0] + g * (high[1] - high[0]);
            *wash += strength * (a + f * (b - a));
            low += layer, high += layer;
            a = low[0] + g * (low[1] - low[0]), b = high[0] + g * (high[1] - high[0]);
            *roll_wash += strength * (a + f * (b - a));
        }
    }
}

INLINE void shed(const Aero *aero, long p, const double *panel, double sine, double strength, double (*seen)[SeenColumn_WIDTH]) {
    for (long pair = 0; pair < aero->wake_pair.n[0]; pair++) {
        const double *row = row_of(&aero->wake_pair, pair);
        if (!(row[WakeColumn_FIRST] <= p && p < row[WakeColumn_FIRST] + row[WakeColumn_COUNT])) continue;
        double s = panel[PanelColumn_SIN], c = panel[PanelColumn_COS], lateral = row[WakeColumn_LATERAL], aside = -row[WakeColumn_LEVER] * sine;
        seen[p][SeenColumn_VORTEX] = seen[p][SeenColumn_LOAD] / (strength * (lateral - row[WakeColumn_BODY]));
        seen[p][SeenColumn_Y] = -s * lateral - c * aside;
        seen[p][SeenColumn_Z] = c * lateral - s * aside;
    }
}

/* In a roll a set's vortices are weaker than its loads alone say. */
INLINE void shed_roll(const Aero *aero, long p, double excess, double strength, double (*seen)[SeenColumn_WIDTH]) {
    for (long pair = 0; pair < aero->wake_pair.n[0]; pair++) {
        const double *row = row_of(&aero->wake_pair, pair);
        long first = (long)row[WakeColumn_FIRST], count = (long)row[WakeColumn_COUNT];
        if (first + count != p + 1) continue;
        double each = excess / (count * strength * (row[WakeColumn_LATERAL] - row[WakeColumn_BODY]));
        for (long q = first; q <= p; q++) seen[q][SeenColumn_VORTEX] -= each;
        return;
    }
}

/* fins: angles at the start, middle and end of a step, k picks the row. A call costs gcc nothing here; inlined into the steps it was no faster. */
static __attribute__((noinline)) void loads(const Drawn *d, const State *s, const Body *body, const Fins fins, int k, Loads *out) {
    const Model *model = d->model;
    const Aero *aero = &model->aero;
    Mat m = matrix_of(s->q);
    Air air = air_at(d, s->r.z);
    Vec3 wind = wind_at(d, s->r.z), u = to_body(m, sub(s->v, wind)), rate = sub(s->w, to_body(m, model->world.earth_rate));
    Station cg = body->cg;

    double cross2 = u.y * u.y + u.z * u.z, speed2 = u.x * u.x + cross2, speed = sqrt(speed2 + 1e-12), cross_speed = sqrt(cross2 + 1e-12);
    double half = 0.5 * air.density, mach = speed / air.sound, cp = d->cp_shift;
    long rows = aero->body.n[0], mi;
    double mf = cell(mach * aero->per_mach, rows, &mi);
    const double *table = aero->body.at + BodyColumn_WIDTH * mi;
    double root = sqrt(sqrt(speed * air.density / air.viscosity)), axial;
    axial = surface(aero->friction.at, rows, aero->friction.n[1], mach * aero->per_mach, root * aero->per_root);
    axial += lerp(table, BodyColumn_WIDTH, mf, BodyColumn_CA) + body->burning * lerp(table, BodyColumn_WIDTH, mf, BodyColumn_CA_BURN);
    axial *= surface(aero->axial_shape.at, rows, aero->axial_shape.n[1], mach * aero->per_mach, cross_speed / speed * (aero->axial_shape.n[1] - 1));
    if (u.x < 0.0) axial = lerp(table, BodyColumn_WIDTH, mf, BodyColumn_CA_BACK);
    double fx = -half * u.x * fabs(u.x) * aero->area * axial * d->drag;

    double aligned = 1.0, back = 0.0;
    double s0 = lerp(table, BodyColumn_WIDTH, mf, BodyColumn_S0), s1 = lerp(table, BodyColumn_WIDTH, mf, BodyColumn_S1);
    double s2 = lerp(table, BodyColumn_WIDTH, mf, BodyColumn_S2);
    if (u.x < 0.17 * speed) {
        aligned = least(fabs(u.x) / (0.17 * speed), 1.0);
        aligned *= aligned * (3.0 - 2.0 * aligned);
        back = 0.5 - 0.5 * aligned;
        if (u.x < 0.0) {
            back = 1.0 - back;
            s0 = lerp(table, BodyColumn_WIDTH, mf, BodyColumn_S0_BACK), s1 = lerp(table, BodyColumn_WIDTH, mf, BodyColumn_S1_BACK);
            s2 = lerp(table, BodyColumn_WIDTH, mf, BodyColumn_S2_BACK);
        }
    }
    s2 += (2.0 * s1 + s0 * cp) * cp;
    s1 += s0 * cp;
    double first = s0 * cg.x - s1, second = s0 * cg.x * cg.x - 2.0 * s1 * cg.x + s2, cosine = fabs(u.x) / speed;
    double potential = -half * aero->area * fabs(u.x) * aligned * sqrt(0.5 * (1.0 + cosine)) * d->normal;
    double fy = potential * (s0 * u.y + first * rate.z), fz = potential * (s0 * u.z - first * rate.y);
    double mx = 0.0, my = -potential * (first * u.z - second * rate.y), mz = potential * (first * u.y + second * rate.z);

    double cross_root = sqrt(sqrt(cross_speed * air.density / air.viscosity));
    double cdc = surface(aero->cross.at, rows, aero->cross.n[1], cross_speed / air.sound * aero->per_mach, cross_root * aero->per_root) * d->normal;
    double centroid = aero->plan1 / aero->plan0, spread2 = aero->plan2 / aero->plan0 - centroid * centroid, lever = cg.x - centroid - cp;
    double vy = u.y + rate.z * lever, vz = u.z - rate.y * lever;
    double viscous = -half * cdc * aero->plan0 * sqrt(vy * vy + vz * vz + (rate.y * rate.y + rate.z * rate.z) * spread2);
    fy += viscous * vy;
    fz += viscous * vz;
    my += -lever * viscous * vz + viscous * spread2 * rate.y;
    mz += lever * viscous * vy + viscous * spread2 * rate.z;

    double per_area = d->normal / aero->area, half_area = half * aero->area, current = -1.0, excess = 0.0;
    int wakes = aero->wake_pair.n[0] > 0;
    FinSet set = {0};
    for (long p = 0; p < aero->panel.n[0]; p++) {
        const double *row = aero->panel.at + PanelColumn_WIDTH * p;
        if (row[PanelColumn_SET] != current) { /* panels of a set stand together in the table */
            current = row[PanelColumn_SET];
            set = fin_set_at(d, (long)current, mi, mf, back);
            excess = 0.0;
        }
        double angle = row[PanelColumn_CANT] + d->cant, share = 1.0, wash = 0.0, roll_wash = 0.0;
        long control = (long)row[PanelColumn_CONTROL];
        if (control >= 0) {
            angle += fins[k][control];
            share = fins[FinRow_CARRIED][control];
        }
        double plate = set.plate * row[PanelColumn_AREA] * per_area, sine = small_sin(angle), sn = row[PanelColumn_SIN], c = row[PanelColumn_COS];
        double y = row[PanelColumn_Y], reach = cg.x - set.x, along = u.x + y * (rate.y * c + rate.z * sn);
        if (wakes) wash_at(aero, current, sn, c, u, (const double (*)[SeenColumn_WIDTH])d->seen, &wash, &roll_wash);
        double across = -c * (u.y + rate.z * reach) - sn * (u.z - rate.y * reach), spin = rate.x * row[PanelColumn_Y_ROLL];
        double v2 = along * along + (across + spin) * (across + spin), inverse = 1.0 / sqrt(v2 + 1e-12);
        double incidence = -across * inverse, stirred = (wash - spin) * inverse, turned = sine * along * inverse;
        double e = clip(set.kw * incidence + stirred + set.dw * turned, -1.0, 1.0), w = clip((fabs(e) - set.stall) * (1.0 / 0.15), 0.0, 1.0);
        w = w * w * (3.0 - 2.0 * w);
        double q_area = half_area * share * v2, attached = q_area * (1.0 - w) * set.slope, straight = attached * sqrt(1.0 - e * e);
        double load = straight * e + q_area * w * plate * e / (0.56 + 0.44 * fabs(e));
        double carried = (set.kb * (incidence + stirred / set.kw) + set.db * turned) * attached * fabs(along) * inverse;
        double x = set.x + w * (row[PanelColumn_X_PLATE] - set.x), *seen = d->seen[p];
        seen[SeenColumn_LOAD] = load;
        seen[SeenColumn_X] = x;
        seen[SeenColumn_STALL] = w;
        seen[SeenColumn_HINGE] = load * (row[PanelColumn_HINGE] - x);
        double px = -load * sine, turn = (cg.x - x) * load + (cg.x - set.xb) * carried, total = load + carried;
        double roll = y * (load + straight * ((roll_wash - wash + set.spin_lost * spin) * inverse - set.turned_lost * turned));
        if (wakes) {
            shed(aero, p, row, sine, 2.0 * half * speed, d->seen);
            excess += load - roll / y;
            shed_roll(aero, p, excess, 2.0 * half * speed, d->seen);
        }
        fx += px;
        fy -= c * total;
        fz -= sn * total;
        mx += roll;
        my += sn * turn + y * c * px;
        mz += -c * turn + y * sn * px;
    }
    const Plain *plain = &aero->plain;
    double drag = -half * speed * plain->drag_area * d->drag, damping = air.density * speed;
    fx += drag * u.x, fy += drag * u.y, fz += drag * u.z;
    mx += damping * plain->roll * rate.x, my += damping * plain->pitch * rate.y, mz += damping * plain->yaw * rate.z;
    mx += cg.z * fy - cg.y * fz;
    my -= cg.z * fx;
    mz += cg.y * fx;

    double push = body->thrust + body->burning * (model->thrust.reference_pressure - air.pressure) * model->thrust.exit_area;
    Vec3 t = scale(d->thrust_line, push > 0.0 ? push : 0.0), nozzle = offset(cg, d->exit), tm = cross(nozzle, t);
    Vec3 jet = cross(nozzle, cross(s->w, nozzle)), shrink = sym_times(body->rate, s->w);
    *out = (Loads){m, {fx + t.x, fy + t.y, fz + t.z},
                   {mx + tm.x - body->flow * (jet.x + d->exit_swirl * s->w.x) - shrink.x, my + tm.y - body->flow * jet.y - shrink.y,
                    mz + tm.z - body->flow * jet.z - shrink.z},
                   rate, wind, u, air.gravity, s->r.z, speed, cross_speed, mach, half * speed2, speed * air.density / air.viscosity};
}

static double slope_at(const Aero *aero, long i, double f, double normal, int column) {
    double total = 0.0, power = 1.0;
    long terms = aero->slope.n[1], step = terms * SlopeColumn_WIDTH;
    for (long k = 0; k < terms; k++) {
        total += power * lerp(aero->slope.at + step * i + SlopeColumn_WIDTH * k, step, f, column);
        power *= normal;
    }
    return total;
}

/* Foremost centre of pressure less centre of mass over the reference length: sixdof.core.forces.stability.least_stable. */
static double static_margin(const Drawn *d, double mach, Station cg) {
    const Aero *aero = &d->model->aero;
    long i;
    double f = cell(mach * aero->per_mach, aero->slope.n[0], &i), n = d->normal;
    double ayy = slope_at(aero, i, f, n, SlopeColumn_YY), azz = slope_at(aero, i, f, n, SlopeColumn_ZZ), ayz = slope_at(aero, i, f, n, SlopeColumn_YZ);
    double byy = slope_at(aero, i, f, n, SlopeColumn_FIRST_YY), bzz = slope_at(aero, i, f, n, SlopeColumn_FIRST_ZZ);
    double byz = slope_at(aero, i, f, n, SlopeColumn_FIRST_YZ), area = ayy * azz - ayz * ayz;
    if (ayy + azz < 1e-9 || area < 1e-18) return NAN;
    double mean = 0.5 * (ayy * bzz + azz * byy - 2.0 * ayz * byz) / area;
    double cyy = byy - mean * ayy, czz = bzz - mean * azz, cyz = byz - mean * ayz;
    return (mean - sqrt(largest(cyz * cyz - cyy * czz, 0.0) / area) + d->cp_shift - cg.x) / aero->length;
}

/* Under canopies: the flow alone, no force and no moment. */
static void calm_loads(const Drawn *d, const State *s, Loads *out) {
    Mat m = matrix_of(s->q);
    Air air = air_at(d, s->r.z);
    Vec3 wind = wind_at(d, s->r.z), u = to_body(m, sub(s->v, wind)), rate = sub(s->w, to_body(m, d->model->world.earth_rate));
    double cross2 = u.y * u.y + u.z * u.z, speed2 = u.x * u.x + cross2, speed = sqrt(speed2 + 1e-12);
    *out = (Loads){m, {0, 0, 0}, {0, 0, 0}, rate, wind, u, air.gravity, s->r.z, speed, sqrt(cross2 + 1e-12), speed / air.sound,
                   0.5 * air.density * speed2, speed * air.density / air.viscosity};
}
