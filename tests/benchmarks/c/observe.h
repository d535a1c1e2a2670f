/* What is written down of a flight: sixdof.core.observe. */

typedef double Events[MOST_EVENTS][EventColumn_WIDTH];

static double incidence_of(const Loads *l) { return atan2(sqrt(l->u.y * l->u.y + l->u.z * l->u.z), l->u.x); }
static double nose_tilt(const Loads *l) { return acos(clip(l->m.zx, -1.0, 1.0)); }

/* The angle of a direction from the vertical towards where the mean wind at 10 m comes from, over a flat Earth. */
static double lean(const Drawn *d, Vec3 along) {
    const World *w = &d->model->world;
    long i;
    double f = cell(sqrt(10.0) * w->wind_per_root, w->wind.n[1], &i);
    const double *a = w->wind.at + WindColumn_WIDTH * i;
    double e = lerp(a, WindColumn_WIDTH, f, WindColumn_EAST), n = lerp(a, WindColumn_WIDTH, f, WindColumn_NORTH), speed = hypot(e, n);
    double east = speed > 0.0 ? e / speed : 0.0, north = speed > 0.0 ? n / speed : -1.0;
    double against = -along.x * (d->wind_cos * east + d->wind_sin * north) - along.y * (d->wind_cos * north - d->wind_sin * east);
    return atan2(against, along.z);
}

static double joint_force(const Leg *leg, const Drawn *d, const Loads *l, Vec3 force) {
    if (leg->fore_mass <= 0.0) return NAN;
    const Aero *aero = &d->model->aero;
    long i;
    double f = cell(l->mach * aero->per_mach, leg->fore_axial.n[0], &i);
    double air = l->pressure * aero->area * lerp(leg->fore_axial.at + i, 1, f, 0) * d->drag;
    return leg->fore_mass * force.x + (l->u.x >= 0.0 ? air : -air);
}

static void write_event(double *row, double t, const State *s, const Body *body, const Drawn *d, const Loads *l, const double *sensed) {
    if (!isnan(row[EventColumn_TIME])) return;
    row[EventColumn_TIME] = t;
    row[EventColumn_EAST] = s->r.x, row[EventColumn_NORTH] = s->r.y, row[EventColumn_HEIGHT] = l->height;
    put_vector(row + EventColumn_VELOCITY_EAST, s->v);
    row[EventColumn_AIRSPEED] = l->speed, row[EventColumn_MACH] = l->mach, row[EventColumn_DYNAMIC_PRESSURE] = l->pressure;
    row[EventColumn_TILT] = nose_tilt(l);
    row[EventColumn_INCIDENCE] = incidence_of(l);
    row[EventColumn_STATIC_MARGIN] = static_margin(d, l->mach, body->cg);
    row[EventColumn_SENSED_HEIGHT] = sensed[Sensed_HEIGHT];
    row[EventColumn_SENSED_SPEED] = norm(vector_at(sensed + Sensed_VELOCITY_EAST));
    row[EventColumn_SENSED_TILT] = tilt_of(quaternion_at(sensed + Sensed_FRAME_W), quaternion_at(sensed + Sensed_Q_W));
    row[EventColumn_LEAN] = lean(d, (Vec3){l->m.xx, l->m.yx, l->m.zx});
    row[EventColumn_PATH_LEAN] = lean(d, s->v);
}

INLINE void raise(double *x, double value) { *x = largest(*x, value); }

static double reversal(double rate, double sign, double *tally) {
    double now = rate > 0.02 ? 1.0 : (rate < -0.02 ? -1.0 : sign);
    if (now * sign < 0.0) tally[Tally_REVERSALS] += 1.0;
    return now;
}

static void watch_control(double *summary, const State *s, int boosting, Work *w) {
    double *tally = w->tally;
    Quat e = multiply(conjugate(s->q), quaternion_at(w->sensed + Sensed_COMMANDED_W));
    double nose = acos(clip(matrix_of(e).xx, -1.0, 1.0)), roll = (e.w >= 0.0 ? 2.0 : -2.0) * e.x;
    tally[boosting ? Tally_BOOST : Tally_COAST] += nose * nose;
    tally[boosting ? Tally_BOOST_TICKS : Tally_COAST_TICKS] += 1.0;
    tally[Tally_ROLL] += roll * roll;
    tally[Tally_LIVE] += 1.0;
    tally[Tally_CUT] += w->sensed[Sensed_SATURATED];
    tally[Tally_SIGN_PITCH] = reversal(s->w.y, tally[Tally_SIGN_PITCH], tally);
    tally[Tally_SIGN_YAW] = reversal(s->w.z, tally[Tally_SIGN_YAW], tally);
    raise(&summary[Outcome_TILT_ERROR_MAX], nose);
    raise(&summary[Outcome_ROLL_ERROR_MAX], fabs(roll));
}

static int beyond_reynolds(const Drawn *d, const Loads *l) {
    double reynolds = l->reynolds * d->model->rail.base_x;
    return !(5e5 < reynolds && reynolds < 1e8);
}

static void watch_flow(double *summary, const Body *body, const Drawn *d, const Loads *l, Vec3 force, double period) {
    double a = incidence_of(l), margin = static_margin(d, l->mach, body->cg), stalled = 0.0;
    const Table *panel = &d->model->aero.panel;
    raise(&summary[Outcome_INCIDENCE_MAX], a);
    raise(&summary[Outcome_TILT_MAX], nose_tilt(l));
    summary[Outcome_STATIC_MARGIN_MIN] = least(summary[Outcome_STATIC_MARGIN_MIN], margin);
    raise(&summary[Outcome_LOAD_FACTOR_MAX], sqrt(force.y * force.y + force.z * force.z) / G0);
    if (a > 0.2617993877991494) summary[Outcome_TIME_BEYOND_INCIDENCE] += period;
    if (beyond_reynolds(d, l)) summary[Outcome_TIME_BEYOND_REYNOLDS] += period;
    for (long p = 0; p < panel->n[0]; p++) {
        raise(&stalled, d->seen[p][SeenColumn_STALL]);
        if (row_of(panel, p)[PanelColumn_CONTROL] >= 0.0) raise(&summary[Outcome_HINGE_MOMENT_MAX], fabs(d->seen[p][SeenColumn_HINGE]));
    }
    if (stalled > 0.5) summary[Outcome_TIME_STALLED] += period;
}

static void watch_fall(double *tally, const Drawn *d, const Loads *l, double period) {
    enum { PIECE = Tally_TICKS_BEFORE - Tally_TICKS };
    double a = incidence_of(l);
    if (tally[Tally_TICKS] * period >= 1.5)
        for (int i = Tally_TICKS; i < Tally_TICKS + PIECE; i++) tally[i + PIECE] = tally[i], tally[i] = 0.0;
    tally[Tally_LEAST] = tally[Tally_TICKS] == 0.0 ? a : least(tally[Tally_LEAST], a);
    raise(&tally[Tally_MOST], a);
    tally[Tally_TICKS] += 1.0;
    tally[Tally_INCIDENCE] += a;
    if (l->speed < 5.0) return;
    if (a > 0.2617993877991494) tally[Tally_FALL_INCIDENCE] += period;
    if (l->mach > 0.8) tally[Tally_FALL_MACH] += period;
    if (beyond_reynolds(d, l)) tally[Tally_FALL_REYNOLDS] += period;
    if (l->reynolds * l->cross_speed * d->model->aero.length > 1e5 * l->speed) tally[Tally_FALL_CRISIS] += period;
}

static void watch(double *summary, int phase, int climbing, const State *s, const Body *body, const Drawn *d, const Loads *l, Vec3 force, Work *w) {
    double period = d->model->computer.period;
    raise(&summary[Outcome_AIRSPEED_MAX], l->speed);
    raise(&summary[Outcome_MACH_MAX], l->mach);
    raise(&summary[Outcome_DYNAMIC_PRESSURE_MAX], l->pressure);
    if (l->mach > 0.8) {
        summary[Outcome_TIME_ABOVE_MACH_08] += period;
        if (l->mach < 1.2) summary[Outcome_TIME_TRANSONIC] += period;
    }
    if (phase != FREE && phase != PIVOT) return;
    raise(&summary[Outcome_SPECIFIC_FORCE_MAX], norm(force));
    if (!climbing) {
        watch_fall(w->tally, d, l, period);
        return;
    }
    Quat e = multiply(conjugate(s->q), quaternion_at(w->sensed + Sensed_Q_W));
    raise(&summary[Outcome_ATTITUDE_ERROR_MAX], 2.0 * asin(clip(sqrt(e.x * e.x + e.y * e.y + e.z * e.z), 0.0, 1.0)));
    raise(&summary[Outcome_POSITION_ERROR_MAX], norm(sub(vector_at(w->sensed + Sensed_EAST), s->r)));
    raise(&summary[Outcome_VELOCITY_ERROR_MAX], norm(sub(vector_at(w->sensed + Sensed_VELOCITY_EAST), s->v)));
    if (l->speed <= 20.0) return;
    watch_flow(summary, body, d, l, force, period);
    if (w->switches[Switch_FINS] > 0.5) watch_control(summary, s, body->burning > 0.5, w);
}

static void watch_servos(Work *w, long controls, const Servo *servo, double h) {
    if (w->switches[Switch_FINS] < 0.5) return;
    double *tally = w->tally;
    for (long i = 0; i < controls; i++) {
        double moved = fabs(w->servos.fins[FinRow_NEXT][i] - w->servos.fins[FinRow_START][i]);
        tally[Tally_TRAVEL] += moved;
        tally[Tally_ENERGY] += moved * fabs(w->servos.hinge[i]);
        tally[Tally_MOVING] += h;
        if (fabs(w->servos.motors[MotorRow_RATE_END][i]) >= 0.99 * servo->rate_limit) tally[Tally_AT_RATE] += h;
    }
}

static double mean_of(double total, double count) { return count > 0.0 ? total / count : NAN; }

static void finish(double *s, const double *tally) {
    double live = tally[Tally_LIVE];
    s[Outcome_TILT_ERROR_BOOST_RMS] = sqrt(mean_of(tally[Tally_BOOST], tally[Tally_BOOST_TICKS]));
    s[Outcome_TILT_ERROR_COAST_RMS] = sqrt(mean_of(tally[Tally_COAST], tally[Tally_COAST_TICKS]));
    s[Outcome_TILT_ERROR_RMS] = sqrt(mean_of(tally[Tally_BOOST] + tally[Tally_COAST], live));
    s[Outcome_ROLL_ERROR_RMS] = sqrt(mean_of(tally[Tally_ROLL], live));
    s[Outcome_SATURATION_SHARE] = mean_of(tally[Tally_CUT], live);
    s[Outcome_RATE_REVERSALS] = tally[Tally_REVERSALS];
    s[Outcome_RATE_LIMIT_SHARE] = mean_of(tally[Tally_AT_RATE], tally[Tally_MOVING]);
    s[Outcome_FIN_TRAVEL_TOTAL] = tally[Tally_TRAVEL], s[Outcome_SERVO_ENERGY] = tally[Tally_ENERGY];
    if (live == 0.0) s[Outcome_TILT_ERROR_MAX] = s[Outcome_ROLL_ERROR_MAX] = NAN;
    if (s[Outcome_STATIC_MARGIN_MIN] == INFINITY) s[Outcome_STATIC_MARGIN_MIN] = NAN;
}
