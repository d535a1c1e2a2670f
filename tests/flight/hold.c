/* A control law of one's own: hold the attitude that guidance wants, proportional and derivative, made for these tests.
 *
 * gains: angle per error (rad/rad), angle per rate (s), roll angle per roll rate (s), time from liftoff to live fins (s).
 * memory[0] counts the ticks of a flight, memory[1] sums the angles between nose and goal.
 * It reports an error, 7, if gains[0] is negative.
 *
 *     gcc -O2 -ffp-contract=off -shared -fPIC hold.c -o hold.so
 */

enum { LIFTOFF = 1, Q = 8, RATE = 12, GOAL = 24 };       /* indices of `sensed` */
enum { ROLL, PITCH, YAW, DIRECT, ENABLE };                /* indices of `command` */

int hold(double t, const double *sensed, double *memory, const double *gains, double *command)
{
    if (gains[0] < 0.0)
        return 7;
    memory[0] += 1.0;
    command[ROLL] = command[PITCH] = command[YAW] = command[ENABLE] = 0.0;
    if (sensed[LIFTOFF] < gains[3])
        return 0;
    const double *q = sensed + Q, *g = sensed + GOAL, *rate = sensed + RATE;
    /* vector part of conj(q) g: half the error about each body axis, the short way round */
    double w = q[0] * g[0] + q[1] * g[1] + q[2] * g[2] + q[3] * g[3];
    double k = w < 0.0 ? -2.0 : 2.0;
    double y = k * (q[0] * g[2] + q[1] * g[3] - q[2] * g[0] - q[3] * g[1]);
    double z = k * (q[0] * g[3] - q[1] * g[2] + q[2] * g[1] - q[3] * g[0]);
    memory[1] += (y < 0.0 ? -y : y) + (z < 0.0 ? -z : z);
    command[ENABLE] = 1.0;
    command[ROLL] = -gains[2] * rate[0];
    command[PITCH] = gains[0] * y - gains[1] * rate[1];
    command[YAW] = gains[0] * z - gains[1] * rate[2];
    return 0;
}
