/* Mass and thrust over time, and the constants of one flight: sixdof.core.body, sixdof.core.leg.drawing. */

typedef struct {
    double dry;
    Station cg;
    Sym inertia;
    double propellant;
    Vec3 moment;
    Sym linear;
    double square_roll, square_pitch;
} Grains;
typedef struct {
    double start, force, slope, unburnt, per_impulse, burning;
} Burn;
typedef struct {
    double mass;
    Station cg;
    Sym inertia, inverse, rate;
    double thrust, flow, burning;
} Body;
/* sixdof.core.leg.drawn.DrawnModel */
typedef struct {
    const Model *model;
    const double *air;                    /* this flight's: the model's own, or warmed */
    double wind_scale, wind_cos, wind_sin, drag, normal, cp_shift, cant;
    double (*seen)[SeenColumn_WIDTH];     /* what each panel did at the last evaluation */
    Grains grains;
    Vec3 thrust_line;
    Station exit;
    double exit_swirl;
    Vec3 rail_line, start, guide;
    Servo servo;
    double guide_at_rest;                 /* the aft guide's place along the rail */
} Drawn;

static Grains gather_grains(const Mass *mass, const Draw *d) {
    double k = d->mass * d->inertia;
    Grains g = {mass->dry * d->mass,
                {mass->cg_x + d->cg_x, mass->cg_y + d->cg_y, mass->cg_z + d->cg_z},
                {mass->ixx * k, mass->iyy * k, mass->izz * k, mass->ixy * k, mass->ixz * k, mass->iyz * k}};
    for (long i = 0; i < mass->grain.n[0]; i++) {
        const double *row = row_of(&mass->grain, i);
        double m = row[GrainColumn_MASS];
        Vec3 way = offset(g.cg, (Station){row[GrainColumn_X], row[GrainColumn_Y], row[GrainColumn_Z]});
        Sym j = spread(way);
        g.propellant += m;
        g.moment = add(g.moment, scale(way, m));
        g.linear.xx += row[GrainColumn_ROLL_A] + m * j.xx;
        g.linear.yy += row[GrainColumn_PITCH_A] + m * j.yy;
        g.linear.zz += row[GrainColumn_PITCH_A] + m * j.zz;
        g.linear.xy += m * j.xy;
        g.linear.xz += m * j.xz;
        g.linear.yz += m * j.yz;
        g.square_roll += row[GrainColumn_ROLL_B];
        g.square_pitch += row[GrainColumn_PITCH_B];
    }
    return g;
}

static void body_at(double t, const Burn *burn, const Grains *g, Body *body) {
    double x = t - burn->start, force = burn->force + burn->slope * x;
    double f = burn->unburnt - (burn->force + 0.5 * burn->slope * x) * x * burn->per_impulse, f_rate = -force * burn->per_impulse;
    double mass = g->dry + f * g->propellant, k = f / mass, c = f * k, c_f = k * (2.0 - k * g->propellant);
    double roll = g->square_roll, pitch = g->square_pitch;
    Vec3 m = g->moment;
    Sym s = spread(m), a = g->inertia, b = g->linear;
    body->mass = mass;
    body->cg = (Station){g->cg.x - k * m.x, g->cg.y + k * m.y, g->cg.z + k * m.z};
    body->inertia = (Sym){a.xx + f * (b.xx + f * roll) - c * s.xx,  a.yy + f * (b.yy + f * pitch) - c * s.yy, a.zz + f * (b.zz + f * pitch) - c * s.zz,
                          a.xy + f * b.xy - c * s.xy, a.xz + f * b.xz - c * s.xz, a.yz + f * b.yz - c * s.yz};
    body->rate = (Sym){f_rate * (b.xx + 2 * f * roll - c_f * s.xx), f_rate * (b.yy + 2 * f * pitch - c_f * s.yy),
                       f_rate * (b.zz + 2 * f * pitch - c_f * s.zz), f_rate * (b.xy - c_f * s.xy), f_rate * (b.xz - c_f * s.xz), f_rate * (b.yz - c_f * s.yz)};
    body->inverse = sym_inverse(body->inertia);
    body->thrust = force;
    body->flow = -f_rate * g->propellant;
    body->burning = burn->burning;
}

static Burn burn_segment(const Thrust *thrust, long i, double ignited, const Draw *d) {
    long n = thrust->time.n[0];
    const double *time = thrust->time.at, *curve = thrust->force.at;
    double total = thrust->total_impulse * d->impulse, k = d->impulse / d->burn_time;
    if (i < 0) return (Burn){0, 0, 0, 1.0, 1.0 / total, 0};
    if (i >= n - 1) return (Burn){ignited + time[n - 1] * d->burn_time, 0, 0, 0, 1.0 / total, 0};
    double start = ignited + time[i] * d->burn_time, width = ignited + time[i + 1] * d->burn_time - start, force = curve[i] * k;
    return (Burn){start, force, (curve[i + 1] * k - force) / width, 1.0 - thrust->impulse.at[i], 1.0 / total, 1};
}

static long segment_at(double t, double ignited, const Thrust *thrust, double burn_time) {
    long segment = -1;
    if (ignited != NOT_IGNITED) {
        segment = 0;
        while (segment < thrust->time.n[0] - 1 && t >= ignited + thrust->time.at[segment + 1] * burn_time - INSTANT) segment++;
    }
    return segment;
}

static Body mass_now(const Model *m, const Draw *d, double t, double ignited) {
    Grains grains = gather_grains(&m->mass, d);
    Burn burn = burn_segment(&m->thrust, segment_at(t, ignited, &m->thrust, d->burn_time), ignited, d);
    Body body;
    body_at(t, &burn, &grains, &body);
    return body;
}

/* The air warmed by an offset, its pressure rebuilt hydrostatically from the ground. */
static void dispersed_air(const World *world, double warmer, double factor, double *rows) {
    const double *old = world->air.at, per_kelvin = 1.0 / (1.4 * 287.05307);
    long n = world->air.n[0], w = AirColumn_WIDTH, ground = (long)(-world->air_z0 * world->air_per_metre + 0.5);
    memcpy(rows, old, sizeof(double) * n * w);
    rows[w * ground + AirColumn_PRESSURE] *= factor;
    for (int step = 1; step >= -1; step -= 2)
        for (long i = ground; step > 0 ? i < n - 1 : i > 0; i += step) {
            const double *a = old + w * i, *b = a + w * step;
            double cold = (a[AirColumn_SOUND] * a[AirColumn_SOUND] + b[AirColumn_SOUND] * b[AirColumn_SOUND]) * 0.5 * per_kelvin;
            rows[w * (i + step) + AirColumn_PRESSURE] =
                rows[w * i + AirColumn_PRESSURE] * pow(b[AirColumn_PRESSURE] / a[AirColumn_PRESSURE], cold / (cold + warmer));
        }
    for (long i = 0; i < n; i++) {
        const double *a = old + w * i;
        double *row = rows + w * i, cold = a[AirColumn_SOUND] * a[AirColumn_SOUND] * per_kelvin, warm = (cold + warmer) / cold;
        row[AirColumn_DENSITY] = a[AirColumn_DENSITY] * row[AirColumn_PRESSURE] / a[AirColumn_PRESSURE] / warm;
        row[AirColumn_SOUND] = a[AirColumn_SOUND] * sqrt(warm);
        row[AirColumn_VISCOSITY] = a[AirColumn_VISCOSITY] * pow(warm, 0.76);
    }
}

static Quat rail_attitude(double elevation, double azimuth) {
    return multiply(launch_frame(azimuth), tilt_quaternion(1.5707963267948966 - elevation, 0.0, 0.0));
}

static void draw_model(const Model *m, const Draw *d, double *air, double (*seen)[SeenColumn_WIDTH], Drawn *out) {
    const Rail *rail = &m->rail;
    Grains g = gather_grains(&m->mass, d);
    double total = g.dry + g.propellant, ce = cos(d->elevation), ty = d->tilt_y, tz = d->tilt_z;
    Station cg = {g.cg.x - g.moment.x / total, g.cg.y + g.moment.y / total, g.cg.z + g.moment.z / total};
    int own_air = d->temperature == 0.0 && d->pressure == 1.0;
    if (!own_air) dispersed_air(&m->world, d->temperature, d->pressure, air);
    *out = (Drawn){.model = m, .air = own_air ? m->world.air.at : air, .wind_scale = d->wind_scale, .wind_cos = d->wind_cos, .wind_sin = d->wind_sin,
                   .drag = d->drag, .normal = d->normal_force, .cp_shift = d->cp, .cant = d->cant, .seen = seen, .grains = g, .servo = m->servo,
                   .thrust_line = {cos(ty) * cos(tz), sin(tz), -sin(ty) * cos(tz)}, .exit = {m->thrust.exit_x, d->offset_y, d->offset_z},
                   .exit_swirl = 0.5 * m->thrust.exit_radius * m->thrust.exit_radius,
                   .rail_line = {ce * sin(d->azimuth), ce * cos(d->azimuth), sin(d->elevation)}, .guide = arm(cg, rail->aft_x),
                   .start = to_world(matrix_of(rail_attitude(d->elevation, d->azimuth)), (Vec3){rail->base_x - cg.x, cg.y, cg.z})};
    out->guide_at_rest = rail->base_x - rail->aft_x;
    out->servo.frequency *= d->servo_speed;
    out->servo.rate_limit *= d->servo_rate;
}
