/* The flight computer at one tick: sixdof.core.computer (its built-in laws), sixdof.core.random. */

typedef struct {
    uint64_t seed, flight;
} Chance;

/* Everything a flight writes but its outcomes: sixdof.core.leg.work.Work. What ties it to one body's tables comes last. */
typedef struct {
    double sensed[Sensed_WIDTH], command[Demand_WIDTH], memory[ControlMemory_WIDTH], guidance[GuidanceMemory_WIDTH], fin_command[MOST_FINS];
    double estimate[EstimateColumn_WIDTH], constants[ErrorColumn_WIDTH], notice[Noticed_WIDTH];
    double rules[MOST_RULES][RuleState_WIDTH], rule_delay[MOST_RULES], switches[Switch_WIDTH], stage[MOST_STAGES][StageColumn_WIDTH];
    double canopy[MOST_CANOPIES][CanopyColumn_WIDTH], deployed[MOST_CANOPIES], pull[MOST_CANOPIES], passed[MOST_WAYPOINTS][PassedColumn_WIDTH];
    double tally[Tally_WIDTH];
    Servos servos;
    double history[HISTORY][FixColumn_WIDTH];
    /* what each body has of its own */
    double gains[MOST_GAINS], seen[MOST_PANELS][SeenColumn_WIDTH], trace[TRACE_ROWS][TraceColumn_WIDTH];
    double *air;
} Work;

/* ------------------------------------------------------------------ random numbers: Philox4x32-10 and Box-Muller */

static double unit(uint64_t high, uint64_t low) { return ((double)((high << 20) | (low >> 12)) + 0.5) * 0x1p-52; }

static double normal(Chance chance, uint64_t stream, uint64_t index) {
    const uint64_t mask = 0xFFFFFFFF;
    uint64_t a = index & mask, b = index >> 32, c = stream, d = chance.flight, k = chance.seed & mask, m = chance.seed >> 32;
    for (int i = 0; i < 10; i++) {
        uint64_t p = 0xD2511F53u * a, q = 0xCD9E8D57u * c;
        a = (q >> 32) ^ b ^ k, b = q & mask, c = (p >> 32) ^ d ^ m, d = p & mask;
        k = (k + 0x9E3779B9u) & mask, m = (m + 0xBB67AE85u) & mask;
    }
    return sqrt(-2.0 * log(unit(a, b))) * cos(6.283185307179586 * unit(c, d));
}
static Vec3 normal3(Chance chance, uint64_t stream, uint64_t index) {
    return (Vec3){normal(chance, stream, index), normal(chance, stream + 1, index), normal(chance, stream + 2, index)};
}

/* ------------------------------------------------------------------ sensors */

enum { GYRO = 16, ACCELEROMETER = 32, MAGNETOMETER = 48, BAROMETER = 64, GNSS = 80, ALIGNMENT = 112, CONSTANT = 8 }; /* streams */

static void draw_constants(const Sensors *sensors, Chance chance, double *out) {
    const Inertial *triads[2] = {&sensors->gyro, &sensors->accelerometer};
    const int first[2] = {ErrorColumn_GYRO, ErrorColumn_ACCELEROMETER}, stream[2] = {GYRO, ACCELEROMETER};
    for (int i = 0; i < 2; i++) {
        double sd[3] = {triads[i]->bias, triads[i]->scale, triads[i]->misalignment};
        for (int k = 0; k < 3; k++) put_vector(out + first[i] + 3 * k, scale(normal3(chance, stream[i] + CONSTANT, k), sd[k]));
    }
    put_vector(out + ErrorColumn_MAGNETOMETER, scale(normal3(chance, MAGNETOMETER + CONSTANT, 0), sensors->magnetometer.bias));
    out[ErrorColumn_BAROMETER] = sensors->barometer.bias * normal(chance, BAROMETER + CONSTANT, 0);
}

static Vec3 read_inertial(Vec3 truth, const Inertial *sensor, const double *own, int stream, Chance chance, long tick, double period) {
    Vec3 bias = vector_at(own), growth = vector_at(own + 3), lean = vector_at(own + 6), turned = add(truth, cross(lean, truth));
    Vec3 noise = scale(normal3(chance, stream, tick), sensor->noise * sqrt(1.0 / period));
    double x = turned.x * (1.0 + growth.x) + bias.x + noise.x, y = turned.y * (1.0 + growth.y) + bias.y + noise.y;
    double z = turned.z * (1.0 + growth.z) + bias.z + noise.z, most = sensor->range;
    return (Vec3){clip(x, -most, most), clip(y, -most, most), clip(z, -most, most)};
}

static Vec3 lagged_rate(Vec3 rate, double lag, double step, double *state) {
    if (lag <= 0.0) return rate;
    double e = exp(-step / lag), new = 1.0 - lag / step * (1.0 - e), old = 1.0 - e - new;
    Vec3 out = add(scale(vector_at(state), e), add(scale(vector_at(state + 3), old), scale(rate, new)));
    put_vector(state, out);
    put_vector(state + 3, rate);
    return out;
}

static long floor_div(long a, long b) { return a >= 0 ? a / b : -((b - 1 - a) / b); }

static int read_gnss(Work *w, const Gnss *sensor, long tick, long stride, Chance chance, double force, double speed) {
    if (sensor->every <= 0 || tick < sensor->latency || tick / sensor->every == floor_div(tick - stride, sensor->every)) return 0;
    if (force > sensor->specific_force_limit || speed > sensor->speed_limit) return 0;
    const double *row = w->history[(tick - sensor->latency) % HISTORY];
    double *fix = w->estimate + EstimateColumn_FIX;
    put_vector(fix, add(vector_at(row), scale(normal3(chance, GNSS, tick), sensor->position)));
    put_vector(fix + 3, add(vector_at(row + 3), scale(normal3(chance, GNSS + 3, tick), sensor->velocity)));
    return 1;
}

/* ------------------------------------------------------------------ estimator */

static void align(double *state, Quat q, Vec3 r, const Estimator *estimator, const double *constants, Chance chance) {
    Vec3 b = to_world(matrix_of(q), scale(vector_at(constants + ErrorColumn_ACCELEROMETER), 1.0 / G0));
    double heading = estimator->heading * normal(chance, ALIGNMENT, 0);
    fill(state, EstimateColumn_WIDTH, 0.0);
    put_quaternion(state + EstimateColumn_ATTITUDE, normalised(multiply((Quat){1.0, 0.5 * b.y, -0.5 * b.x, 0.5 * heading}, q)));
    put_vector(state + EstimateColumn_POSITION, r);
    state[EstimateColumn_BARO_LAG] = state[EstimateColumn_BARO] = r.z;
    state[EstimateColumn_FIX_AGE] = -1.0;
}

static void estimate(double *state, const Computer *computer, Vec3 rate, Vec3 force, double baro, int fresh_baro, int fresh_fix, Vec3 magnet, int moving,
                     double period) {
    const Estimator *e = &computer->estimator;
    double latency = computer->sensors.gnss.latency * computer->period;
    Quat q = quaternion_at(state + EstimateColumn_ATTITUDE);
    Mat m = matrix_of(q);
    Vec3 w = sub(rate, to_body(m, computer->earth_rate)), before = vector_at(state + EstimateColumn_RATE), mean = scale(add(w, before), 0.5);
    if (computer->sensors.magnetometer.fitted > 0)
        mean = add(mean, scale(cross(magnet, to_body(m, computer->sensors.magnetometer.field)), e->magnetic / period));
    if (moving) {
        Vec3 turn = add(scale(mean, period), scale(cross(before, w), period * period / 12.0));
        Quat d = quaternion_rate(q, turn);
        double angle2 = dot(turn, turn), c = 1.0 - angle2 / 8.0 * (1.0 - angle2 / 48.0), k = 1.0 - angle2 / 24.0 * (1.0 - angle2 / 80.0);
        q = normalised((Quat){c * q.w + k * d.w, c * q.x + k * d.x, c * q.y + k * d.y, c * q.z + k * d.z});
    }
    put_vector(state + EstimateColumn_RATE, w);
    put_quaternion(state + EstimateColumn_ATTITUDE, q);
    Vec3 a = to_world(matrix_of(q), force), last = vector_at(state + EstimateColumn_ACCELERATION);
    a.z -= G0;
    put_vector(state + EstimateColumn_ACCELERATION, a);
    if (moving) {
        Vec3 v = vector_at(state + EstimateColumn_VELOCITY), dv = scale(add(a, last), 0.5 * period);
        Vec3 r = add(vector_at(state + EstimateColumn_POSITION), scale(add(v, scale(dv, 0.5)), period));
        v = add(v, dv);
        if (fresh_baro) {
            double off = baro - r.z;
            r.z += e->baro_position * off;
            v.z += e->baro_velocity * off;
        }
        if (fresh_fix) {
            Vec3 place = add(vector_at(state + EstimateColumn_FIX), scale(sub(v, scale(a, 0.5 * latency)), latency));
            r = add(r, scale(sub(place, r), e->gnss_position));
            v = add(v, scale(sub(add(vector_at(state + EstimateColumn_FIX + 3), scale(a, latency)), v), e->gnss_velocity));
        }
        put_vector(state + EstimateColumn_POSITION, r);
        put_vector(state + EstimateColumn_VELOCITY, v);
    }
    state[EstimateColumn_BARO] = baro;
    put_vector(state + EstimateColumn_MAGNET, magnet);
    if (fresh_fix)
        state[EstimateColumn_FIX_AGE] = latency;
    else if (state[EstimateColumn_FIX_AGE] >= 0.0)
        state[EstimateColumn_FIX_AGE] += period;
}

static void measure(Work *w, const Computer *computer, long tick, long stride, const State *s, Vec3 force, Mat matrix, Chance chance) {
    const Sensors *sensors = &computer->sensors;
    double *state = w->estimate, step = stride * computer->period, period = computer->period, *sensed = w->sensed;
    Vec3 rate = lagged_rate(s->w, sensors->gyro_lag, step, state + EstimateColumn_GYRO);
    Vec3 gyro = read_inertial(rate, &sensors->gyro, w->constants + ErrorColumn_GYRO, GYRO, chance, tick, period);
    Vec3 felt = read_inertial(force, &sensors->accelerometer, w->constants + ErrorColumn_ACCELEROMETER, ACCELEROMETER, chance, tick, period);
    const Barometer *b = &sensors->barometer;
    state[EstimateColumn_BARO_LAG] += (b->lag <= 0.0 ? 1.0 : 1.0 - exp(-step / b->lag)) * (s->r.z - state[EstimateColumn_BARO_LAG]);
    double baro = state[EstimateColumn_BARO_LAG] + w->constants[ErrorColumn_BAROMETER] + b->noise * normal(chance, BAROMETER, tick);
    Vec3 magnet = {0, 0, 0};
    if (sensors->magnetometer.fitted > 0)
        magnet = add(add(to_body(matrix, sensors->magnetometer.field), vector_at(w->constants + ErrorColumn_MAGNETOMETER)),
                     scale(normal3(chance, MAGNETOMETER, tick), sensors->magnetometer.noise));
    int fix = read_gnss(w, &sensors->gnss, tick, stride, chance, norm(force), norm(s->v));
    int fresh = tick / b->every > floor_div(tick - stride, b->every);
    if (!fresh) baro = state[EstimateColumn_BARO];
    int moving = w->notice[Noticed_LIFTOFF] >= 0.0 || felt.x > computer->detection.liftoff_specific_force;
    estimate(state, computer, gyro, felt, baro, fresh, fix, magnet, moving, step);
    for (int i = 0; i < 3; i++) {
        sensed[Sensed_EAST + i] = state[EstimateColumn_POSITION + i];
        sensed[Sensed_VELOCITY_EAST + i] = state[EstimateColumn_VELOCITY + i];
        sensed[Sensed_FIELD_X + i] = state[EstimateColumn_MAGNET + i];
    }
    for (int i = 0; i < 4; i++) sensed[Sensed_Q_W + i] = state[EstimateColumn_ATTITUDE + i];
    for (int i = 0; i < 6; i++) sensed[Sensed_FIX_EAST + i] = state[EstimateColumn_FIX + i];
    put_vector(sensed + Sensed_RATE_X, gyro);
    put_vector(sensed + Sensed_SPECIFIC_FORCE_X, felt);
    sensed[Sensed_BARO_HEIGHT] = baro;
    sensed[Sensed_FIX_AGE] = state[EstimateColumn_FIX_AGE];
}

static void sense(Work *w, const Drawn *d, double t, long tick, long stride, const State *s, Vec3 force, Mat matrix, Quat frame, Chance chance) {
    const Model *model = d->model;
    double *sensed = w->sensed;
    if (model->computer.sensors.ideal > 0) {
        put_vector(sensed + Sensed_EAST, s->r);
        put_vector(sensed + Sensed_VELOCITY_EAST, s->v);
        put_quaternion(sensed + Sensed_Q_W, s->q);
        put_vector(sensed + Sensed_RATE_X, s->w);
        put_vector(sensed + Sensed_SPECIFIC_FORCE_X, force);
        sensed[Sensed_BARO_HEIGHT] = s->r.z;
        sensed[Sensed_FIX_AGE] = 0.0;
        put_vector(sensed + Sensed_FIX_EAST, s->r);
        put_vector(sensed + Sensed_FIX_EAST + 3, s->v);
    } else {
        for (long k = tick - stride + 1; k <= tick; k++) {
            double *row = w->history[(k + HISTORY) % HISTORY];
            put_vector(row + FixColumn_EAST, s->r);
            put_vector(row + FixColumn_VELOCITY_EAST, s->v);
        }
        measure(w, &model->computer, tick, stride, s, force, matrix, chance);
    }
    sensed[Sensed_TIME] = t;
    /* the computer knows the model's air, not this flight's */
    long i;
    double f = cell((sensed[Sensed_HEIGHT] - model->world.air_z0) * model->world.air_per_metre, model->world.air.n[0], &i);
    const double *air = row_of(&model->world.air, i);
    Vec3 v = vector_at(sensed + Sensed_VELOCITY_EAST);
    sensed[Sensed_DYNAMIC_PRESSURE] = 0.5 * lerp(air, AirColumn_WIDTH, f, AirColumn_DENSITY) * dot(v, v);
    sensed[Sensed_MACH] = norm(v) / lerp(air, AirColumn_WIDTH, f, AirColumn_SOUND);
    put_quaternion(sensed + Sensed_FRAME_W, frame);
    sensed[Sensed_PERIOD] = stride * model->computer.period;
}

/* ------------------------------------------------------------------ phases and rules */

static void start_notice(double *notice, double attached) {
    fill(notice, Noticed_WIDTH, -1.0);
    notice[Noticed_BURNS] = notice[Noticed_THRUSTING] = notice[Noticed_SEPARATIONS] = 0.0;
    notice[Noticed_HIGHEST] = -INFINITY;
    notice[Noticed_ATTACHED] = attached;
}

static void notice_burns(double t, double force, const Detection *d, double *n) {
    int k = (int)n[Noticed_BURNS];
    if (k >= MOST_BURNS) return;
    if (n[Noticed_THRUSTING] > 0.5) {
        if (force >= d->burnout_specific_force) {
            n[Noticed_QUIET] = -1.0;
            return;
        }
        if (n[Noticed_QUIET] < 0.0) n[Noticed_QUIET] = t;
        if (t - n[Noticed_QUIET] >= d->burnout_debounce - SOON) {
            n[Noticed_BURNOUT + k] = t;
            n[Noticed_BURNS] = k + 1.0, n[Noticed_THRUSTING] = 0.0, n[Noticed_QUIET] = -1.0;
        }
    } else if (n[Noticed_APOGEE] < 0.0 && force > d->ignition_specific_force) {
        n[Noticed_IGNITION + k] = t;
        n[Noticed_THRUSTING] = 1.0;
    }
}

static void notice_phases(const double *sensed, double aft_travel, const Detection *d, double attached, double *n) {
    double t = sensed[Sensed_TIME];
    if (n[Noticed_LIFTOFF] < 0.0) {
        if (!(sensed[Sensed_SPECIFIC_FORCE_X] > d->liftoff_specific_force || sensed[Sensed_HEIGHT] > d->liftoff_height)) return;
        n[Noticed_LIFTOFF] = n[Noticed_IGNITION] = t;
        n[Noticed_THRUSTING] = 1.0;
    }
    while (attached < n[Noticed_ATTACHED]) {
        int k = (int)n[Noticed_SEPARATIONS];
        n[Noticed_ATTACHED] -= 1.0;
        if (k < MOST_BURNS) {
            n[Noticed_SEPARATION + k] = t;
            n[Noticed_SEPARATIONS] += 1.0;
        }
    }
    Vec3 r = vector_at(sensed + Sensed_EAST);
    if (n[Noticed_RAIL] < 0.0 && dot(r, r) > aft_travel * aft_travel) n[Noticed_RAIL] = t;
    notice_burns(t, sensed[Sensed_SPECIFIC_FORCE_X], d, n);
    if (n[Noticed_APOGEE] >= 0.0 || n[Noticed_RAIL] < 0.0) return;
    int sinking = sensed[Sensed_VELOCITY_UP] < 0.0;
    if (d->by_barometer > 0) {
        n[Noticed_HIGHEST] = largest(n[Noticed_HIGHEST], sensed[Sensed_BARO_HEIGHT]);
        sinking = sensed[Sensed_BARO_HEIGHT] < n[Noticed_HIGHEST] - d->apogee_drop;
    }
    if (!sinking) {
        n[Noticed_SINKING] = -1.0;
        return;
    }
    if (n[Noticed_SINKING] < 0.0) n[Noticed_SINKING] = t;
    if (t - n[Noticed_SINKING] >= d->apogee_debounce - SOON) n[Noticed_APOGEE] = t;
}

enum { BY_TIME, BY_LIFTOFF, BY_RAIL, BY_BURNOUT, BY_APOGEE, BY_CLIMBING, BY_FALLING, BY_SEPARATION, BY_IGNITION, BY_EJECTION };
enum { ENABLE, DISABLE, DEPLOY, GUIDE, SEPARATE, IGNITE };

static int triggered(const double *rule, const double *sensed, const double *n, double (*stage)[StageColumn_WIDTH]) {
    int order = (int)rule[RuleColumn_ORDER];
    double threshold = rule[RuleColumn_THRESHOLD];
    switch ((int)rule[RuleColumn_TRIGGER]) {
    case BY_TIME: return sensed[Sensed_TIME] >= threshold;
    case BY_LIFTOFF: return n[Noticed_LIFTOFF] >= 0.0;
    case BY_RAIL: return n[Noticed_RAIL] >= 0.0;
    case BY_BURNOUT: return n[Noticed_BURNOUT + order] >= 0.0;
    case BY_APOGEE: return n[Noticed_APOGEE] >= 0.0;
    case BY_CLIMBING: return n[Noticed_LIFTOFF] >= 0.0 && sensed[Sensed_HEIGHT] >= threshold;
    case BY_FALLING: return n[Noticed_APOGEE] >= 0.0 && sensed[Sensed_HEIGHT] <= threshold;
    case BY_SEPARATION: return n[Noticed_SEPARATION + order] >= 0.0;
    case BY_IGNITION: return n[Noticed_IGNITION + order] >= 0.0;
    case BY_EJECTION: return stage[order][StageColumn_BURNOUT] >= 0.0;
    }
    return 0;
}

static int inhibited(const double *rule, const double *sensed) {
    double height = sensed[Sensed_HEIGHT], since = sensed[Sensed_TIME_SINCE_LIFTOFF];
    if (height < rule[RuleColumn_HEIGHT_ABOVE] || height > rule[RuleColumn_HEIGHT_BELOW]) return 1;
    if (since < rule[RuleColumn_AFTER] || since > rule[RuleColumn_BEFORE]) return 1;
    if (rule[RuleColumn_BOOSTER] >= 0.0 && (sensed[Sensed_BOOSTER] > 0.5) != (rule[RuleColumn_BOOSTER] > 0.5)) return 1;
    double low = largest(rule[RuleColumn_SPEED_ABOVE], 0.0), high = rule[RuleColumn_SPEED_BELOW];
    Vec3 v = vector_at(sensed + Sensed_VELOCITY_EAST);
    if (dot(v, v) < low * low || (high < INFINITY && dot(v, v) > high * high)) return 1;
    if (!(rule[RuleColumn_TILT_BELOW] < INFINITY)) return 0;
    return tilt_of(quaternion_at(sensed + Sensed_FRAME_W), quaternion_at(sensed + Sensed_Q_W)) > rule[RuleColumn_TILT_BELOW];
}

static double act(int action, int target, double t, Work *w, long canopies) {
    double *fins = &w->switches[Switch_FINS], *mode = &w->switches[Switch_MODE], *of_stage = NULL, was = 0.0;
    switch (action) {
    case ENABLE: was = *fins, *fins = 1.0; return was < 0.5;
    case DISABLE: was = *fins, *fins = 0.0; return was > 0.5;
    case GUIDE: was = *mode, *mode = target; return was != target;
    case SEPARATE: of_stage = &w->stage[target][StageColumn_SEPARATE]; break;
    case IGNITE: of_stage = &w->stage[target][StageColumn_IGNITE]; break;
    default:
        if (!(0 <= target && target < canopies && w->deployed[target] == -1.0)) return 0.0;
        w->deployed[target] = w->canopy[target][CanopyColumn_FAILS] < 0.5 ? t : FAILED;
        return 1.0;
    }
    if (*of_stage >= 0.0) return 0.0;
    *of_stage = t;
    return 1.0;
}

static void run_rules(Work *w, const Table *rules, long canopies) {
    double t = w->sensed[Sensed_TIME];
    for (long i = 0; i < rules->n[0]; i++) {
        const double *rule = row_of(rules, i);
        double *state = w->rules[i];
        if (state[RuleState_FIRED] >= 0.0 || state[RuleState_GIVEN_UP] >= 0.0) continue;
        if (state[RuleState_ARMED] < 0.0) {
            if (!triggered(rule, w->sensed, w->notice, w->stage)) continue;
            state[RuleState_ARMED] = t;
        }
        double due = state[RuleState_ARMED] + w->rule_delay[i];
        if (t < due - SOON) continue;
        if (inhibited(rule, w->sensed)) {
            if (t - due >= rule[RuleColumn_TIMEOUT] - SOON || w->sensed[Sensed_TIME_SINCE_LIFTOFF] > rule[RuleColumn_BEFORE]) state[RuleState_GIVEN_UP] = t;
            continue;
        }
        state[RuleState_FIRED] = t;
        state[RuleState_ACTED] = act((int)rule[RuleColumn_ACTION], (int)rule[RuleColumn_TARGET], t, w, canopies);
    }
}

/* ------------------------------------------------------------------ guidance */

enum { PROFILE, WAYPOINTS, HOLD_DIRECTION };
enum { OVER_TIME, OVER_HEIGHT, OVER_MODE_TIME };
enum { LAST_HOLD, LAST_UPRIGHT, LAST_PROFILE };

static Vec3 profile_at(const Table *profile, double x, int smooth) {
    long n = profile->n[0];
    const double *here = profile->at;
    if (x <= here[ProfileColumn_AT]) return vector_at(here + ProfileColumn_TILT_PITCH);
    for (long i = 0; i < n - 1; i++, here += ProfileColumn_WIDTH) {
        const double *ahead = here + ProfileColumn_WIDTH;
        if (!(x < ahead[ProfileColumn_AT])) continue;
        double f = (x - here[ProfileColumn_AT]) / (ahead[ProfileColumn_AT] - here[ProfileColumn_AT]);
        if (smooth) f = f * f * (3.0 - 2.0 * f);
        Vec3 a = vector_at(here + ProfileColumn_TILT_PITCH);
        return add(a, scale(sub(vector_at(ahead + ProfileColumn_TILT_PITCH), a), f));
    }
    return vector_at(here + ProfileColumn_TILT_PITCH);
}
static Vec3 unit_of(Vec3 a, Vec3 other) {
    double k = norm(a);
    return k > 1e-9 ? scale(a, 1.0 / k) : other;
}
static Vec3 leaned(Vec3 towards, Vec3 from, double most) {
    double c = clip(dot(towards, from), -1.0, 1.0);
    if (acos(c) <= most) return towards;
    Vec3 other = fabs(from.z) < 0.9 ? (Vec3){0, 0, 1} : (Vec3){1, 0, 0};
    Vec3 side = unit_of(sub(towards, scale(from, c)), unit_of(cross(from, other), other));
    return add(scale(from, cos(most)), scale(side, sin(most)));
}
static Vec3 aim(Vec3 r, Vec3 v, Vec3 nose, double pressure, const double *w, const Guidance *g) {
    Vec3 d = sub(vector_at(w + WaypointColumn_EAST), r);
    double speed = norm(v);
    Vec3 way = speed > 5.0 ? unit_of(v, nose) : nose;
    double time = least(norm(d) / largest(speed, 5.0), 10.0);
    d.z += 0.5 * G0 * time * time;
    Vec3 sight = unit_of(d, nose), u = unit_of(add(sight, scale(sub(sight, way), g->lead)), sight);
    double most = g->most_incidence;
    if (g->load_slope > 0.0 && g->most_load < INFINITY) most = least(most, g->most_load / largest(g->load_slope * pressure, 1e-6));
    return leaned(leaned(u, way, most), (Vec3){0, 0, 1}, g->most_tilt);
}
static void watch_waypoints(double t, Vec3 r, Vec3 v, double *memory, const Guidance *g, double (*passed)[PassedColumn_WIDTH]) {
    long k = (long)memory[GuidanceMemory_WAYPOINT];
    if (k >= g->waypoint.n[0]) return;
    const double *w = row_of(&g->waypoint, k);
    Vec3 d = sub(vector_at(w + WaypointColumn_EAST), r);
    double distance = norm(d), speed = norm(v), since = memory[GuidanceMemory_SINCE];
    memory[GuidanceMemory_CLOSEST] = least(memory[GuidanceMemory_CLOSEST], distance);
    int captured = distance <= w[WaypointColumn_RADIUS], gone = dot(d, v) < 0.0 && speed > 5.0 && t > since;
    if (!captured && !gone && !(t - since > w[WaypointColumn_TIMEOUT])) return;
    double miss = memory[GuidanceMemory_CLOSEST];
    if (captured && !gone && speed > 5.0) {
        double along = dot(d, v) / speed;
        miss = sqrt(largest(distance * distance - along * along, 0.0));
    }
    passed[k][PassedColumn_TIME] = t;
    passed[k][PassedColumn_MISS] = miss;
    memory[GuidanceMemory_WAYPOINT] = k + 1.0;
    memory[GuidanceMemory_SINCE] = t;
    memory[GuidanceMemory_CLOSEST] = INFINITY;
}
static Quat slewed(Quat commanded, Quat last, double most) {
    Quat e = multiply(conjugate(last), commanded);
    double k = e.w >= 0.0 ? 1.0 : -1.0, angle = 2.0 * acos(clip(k * e.w, -1.0, 1.0));
    if (angle <= most || angle < 1e-9) return commanded;
    Vec3 axis = scale(unit_of((Vec3){k * e.x, k * e.y, k * e.z}, (Vec3){0, 0, 0}), sin(0.5 * most));
    return multiply(last, (Quat){cos(0.5 * most), axis.x, axis.y, axis.z});
}
static void start_guidance(double *memory, Quat q) {
    fill(memory, GuidanceMemory_WIDTH, 0.0);
    memory[GuidanceMemory_CLOSEST] = INFINITY;
    put_quaternion(memory + GuidanceMemory_HELD, q);
    put_quaternion(memory + GuidanceMemory_LAST, q);
    memory[GuidanceMemory_MODE] = -1.0;
}

static void steer(Work *w, double t, const Computer *computer, Quat frame) {
    const Guidance *g = &computer->guidance;
    double *memory = w->guidance, *sensed = w->sensed, since = sensed[Sensed_TIME_SINCE_LIFTOFF], over = since;
    int mode = (int)w->switches[Switch_MODE];
    Vec3 r = vector_at(sensed + Sensed_EAST), v = vector_at(sensed + Sensed_VELOCITY_EAST);
    Quat q = quaternion_at(sensed + Sensed_Q_W);
    if (memory[GuidanceMemory_MODE] != mode) {
        memory[GuidanceMemory_MODE] = mode, memory[GuidanceMemory_MODE_TIME] = t;
        memory[GuidanceMemory_SINCE] = t, memory[GuidanceMemory_CLOSEST] = INFINITY;
        if (mode == HOLD_DIRECTION && since >= 0.0) put_quaternion(memory + GuidanceMemory_HELD, q);
    }
    if (g->over == OVER_HEIGHT) over = r.z;
    if (g->over == OVER_MODE_TIME) over = t - memory[GuidanceMemory_MODE_TIME];
    Vec3 tilt = profile_at(&g->profile, over, g->smooth > 0);
    Quat commanded = multiply(frame, tilt_quaternion(tilt.x, tilt.y, tilt.z)), held = quaternion_at(memory + GuidanceMemory_HELD);
    if (mode == HOLD_DIRECTION) {
        commanded = held;
    } else if (mode == WAYPOINTS) {
        watch_waypoints(t, r, v, memory, g, w->passed);
        long k = (long)memory[GuidanceMemory_WAYPOINT];
        if (k < g->waypoint.n[0]) {
            Mat m = matrix_of(q);
            Vec3 u = aim(r, v, (Vec3){m.xx, m.yx, m.zx}, sensed[Sensed_DYNAMIC_PRESSURE], row_of(&g->waypoint, k), g), a = to_body(matrix_of(frame), u);
            commanded = multiply(frame, tilt_quaternion(asin(clip(a.z, -1.0, 1.0)), atan2(a.y, a.x), tilt.z));
            put_quaternion(memory + GuidanceMemory_HELD, commanded);
        } else if (g->past_last == LAST_HOLD) {
            commanded = held;
        } else if (g->past_last == LAST_UPRIGHT) {
            commanded = multiply(frame, tilt_quaternion(0.0, 0.0, tilt.z));
        }
    }
    if (g->slew < INFINITY) commanded = slewed(commanded, quaternion_at(memory + GuidanceMemory_LAST), g->slew * computer->period);
    put_quaternion(memory + GuidanceMemory_LAST, commanded);
    sensed[Sensed_WAYPOINT] = memory[GuidanceMemory_WAYPOINT];
    if (since >= 0.0 && g->feed_rate > 0) {
        Quat e = multiply(conjugate(quaternion_at(sensed + Sensed_COMMANDED_W)), commanded);
        double k = (e.w >= 0.0 ? 2.0 : -2.0) / computer->period;
        put_vector(sensed + Sensed_COMMANDED_RATE_X, (Vec3){k * e.x, k * e.y, k * e.z});
    }
    put_quaternion(sensed + Sensed_COMMANDED_W, commanded);
}

/* ------------------------------------------------------------------ control and mixer */

static void drawn_gains(const Table *gains, const Draw *d, double *out) {
    memcpy(out, gains->at, sizeof(double) * gains->n[0]);
    for (double *row = out + Gain_WIDTH; row < out + gains->n[0]; row += GainRow_WIDTH)
        for (int j = 0; j < 4; j++) {
            row[GainRow_ROLL_P + j] *= d->gain_roll;
            row[GainRow_PITCH_P + j] *= d->gain_pitch;
            row[GainRow_YAW_P + j] *= d->gain_yaw;
        }
}
static double scheduled(const double *first, long rows, double x, int column) {
    const double *here = first;
    for (long k = 1; k < rows; k++)
        if (x >= first[k * GainRow_WIDTH]) here = first + k * GainRow_WIDTH;
    if (here + GainRow_WIDTH >= first + rows * GainRow_WIDTH || x <= here[0]) return here[column];
    return here[column] + (x - here[0]) / (here[GainRow_WIDTH] - here[0]) * (here[GainRow_WIDTH + column] - here[column]);
}
static double pid(const double *g, double error, double rate, double wanted, const double *k, double scale, double held, double *m, double *notch, double h) {
    double p = k[0], d = k[2];
    if (g[Gain_CASCADE] > 0.0) {
        error = clip(p * error + wanted, -g[Gain_RATE_LIMIT], g[Gain_RATE_LIMIT]) - rate;
        p = d;
        d = 0.0;
    }
    double step = k[1] * error * h, filter = g[Gain_FILTER];
    if (!(held > 0.0 && step * m[0] > 0.0)) m[0] = clip(m[0] + step, -g[Gain_INTEGRAL], g[Gain_INTEGRAL]);
    if (g[Gain_ON_ERROR] > 0.0)
        m[1] = (filter * m[1] + d * (error - m[2])) / (filter + h);
    else
        m[1] += h / (filter + h) * (-d * rate - m[1]);
    m[2] = error;
    double demand = scale * (p * error + m[0] + m[1] + k[3] * wanted);
    if (notch) {
        double n = g[Gain_NOTCH_C0] * demand + notch[0];
        notch[0] = g[Gain_NOTCH_C1] * demand - g[Gain_NOTCH_A1] * n + notch[1];
        notch[1] = g[Gain_NOTCH_C2] * demand - g[Gain_NOTCH_A2] * n;
        demand += n;
    }
    return clip(demand, -g[Gain_DEMAND_LIMIT], g[Gain_DEMAND_LIMIT]);
}
static void control_law(Work *w) {
    const double *g = w->gains, *sensed = w->sensed;
    Quat e = multiply(conjugate(quaternion_at(sensed + Sensed_Q_W)), quaternion_at(sensed + Sensed_COMMANDED_W));
    double k = e.w >= 0.0 ? 2.0 : -2.0, error[3] = {k * e.x, k * e.y, k * e.z}, x = 0.0, gain = 1.0, pressure = sensed[Sensed_DYNAMIC_PRESSURE];
    if (sensed[Sensed_ENABLED] < 0.5) {
        fill(w->memory, ControlMemory_WIDTH, 0.0);
        for (int c = 0; c < 3; c++) w->command[Demand_ROLL + c] = 0.0, w->memory[ControlMemory_ROLL_ERROR + 3 * c] = error[c];
        return;
    }
    long rows = (long)g[Gain_ROWS];
    const double *first = g + Gain_WIDTH + (sensed[Sensed_BOOSTER] > 0.5 ? rows * GainRow_WIDTH : 0);
    if (g[Gain_OVER] == 1.0) x = pressure;
    if (g[Gain_OVER] == 2.0) x = sensed[Sensed_MACH];
    if (g[Gain_PRESSURE] > 0.0) gain = clip(g[Gain_PRESSURE] / largest(pressure, 1.0), g[Gain_LOW], g[Gain_HIGH]);
    for (int c = 0; c < 3; c++) {
        double own[4];
        for (int i = 0; i < 4; i++) own[i] = scheduled(first, rows, x, GainRow_ROLL_P + 4 * c + i);
        double *notch = c > 0 ? w->memory + ControlMemory_NOTCH + 2 * c : NULL;
        w->command[Demand_ROLL + c] = pid(g, error[c], sensed[Sensed_RATE_X + c], sensed[Sensed_COMMANDED_RATE_X + c], own, gain, sensed[Sensed_SATURATED],
                                          w->memory + 3 * c, notch, sensed[Sensed_PERIOD]);
    }
}
INLINE double room(double base, double extra, double travel) {
    if (extra > 0.0) return clip((travel - base) / extra, 0.0, 1.0);
    if (extra < 0.0) return clip((-travel - base) / extra, 0.0, 1.0);
    return 1.0;
}
static double mix(const double *demand, const Table *mixer, double travel, int roll_first, double *fins) {
    double first[MOST_FINS], second[MOST_FINS], share = 1.0, rest = 1.0;
    long n = mixer->n[0];
    for (long i = 0; i < n; i++) {
        const double *x = row_of(mixer, i);
        double roll = x[MixerColumn_ROLL] * demand[Demand_ROLL], lean = x[MixerColumn_PITCH] * demand[Demand_PITCH] + x[MixerColumn_YAW] * demand[Demand_YAW];
        first[i] = roll_first ? roll : lean;
        second[i] = roll_first ? lean : roll;
        share = least(share, room(0.0, first[i], travel));
    }
    for (long i = 0; i < n; i++) rest = least(rest, room(share * first[i], second[i], travel));
    for (long i = 0; i < n; i++) fins[i] = share * first[i] + rest * second[i];
    return share < 1.0 || rest < 1.0;
}

static void run_tick(Work *w, const Drawn *d, double t, long tick, long stride, const State *s, Vec3 force, Mat matrix, Quat frame, Chance chance) {
    const Model *model = d->model;
    const Computer *computer = &model->computer;
    double *sensed = w->sensed, attached = (double)(model->leg.last - model->leg.first);
    sense(w, d, t, tick, stride, s, force, matrix, frame, chance);
    sensed[Sensed_BOOSTER] = computer->booster;
    notice_phases(sensed, model->rail.aft_travel, &computer->detection, attached, w->notice);
    sensed[Sensed_TIME_SINCE_LIFTOFF] = w->notice[Noticed_LIFTOFF] >= 0.0 ? t - w->notice[Noticed_LIFTOFF] : -1.0;
    run_rules(w, &computer->rules, model->canopy.n[0]);
    sensed[Sensed_ENABLED] = w->switches[Switch_FINS];
    sensed[Sensed_MODE] = w->switches[Switch_MODE];
    if (model->leg.main == 0) return;
    steer(w, t, computer, frame);
    control_law(w);
    sensed[Sensed_SATURATED] = mix(w->command, &computer->mixer, d->servo.travel, computer->roll_first > 0, w->fin_command);
    issue(&d->servo, computer->mixer.n[0], w->fin_command, &w->servos, tick);
}
