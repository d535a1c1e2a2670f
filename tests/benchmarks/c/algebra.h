/* Vectors, quaternions, symmetric tensors, tables on uniform grids: sixdof.core.algebra. */

#define INLINE static inline __attribute__((always_inline))

typedef struct {
    double w, x, y, z;
} Quat;
typedef Vec3 Station; /* x aft from the nose tip */
typedef struct {
    double xx, xy, xz, yx, yy, yz, zx, zy, zz;
} Mat;
typedef struct {
    double xx, yy, zz, xy, xz, yz;
} Sym;
typedef struct {
    Vec3 r, v;
    Quat q;
    Vec3 w;
} State;

INLINE double least(double a, double b) { return b < a ? b : a; }
INLINE double largest(double a, double b) { return b > a ? b : a; }
INLINE double clip(double x, double low, double high) { return x < low ? low : (x > high ? high : x); }
INLINE Vec3 add(Vec3 a, Vec3 b) { return (Vec3){a.x + b.x, a.y + b.y, a.z + b.z}; }
INLINE Vec3 sub(Vec3 a, Vec3 b) { return (Vec3){a.x - b.x, a.y - b.y, a.z - b.z}; }
INLINE Vec3 scale(Vec3 a, double k) { return (Vec3){a.x * k, a.y * k, a.z * k}; }
INLINE double dot(Vec3 a, Vec3 b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
INLINE double norm(Vec3 a) { return sqrt(dot(a, a)); }
INLINE Vec3 cross(Vec3 a, Vec3 b) { return (Vec3){a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x}; }
/* the arm, body axes, from the centre of mass to the point of the axis at station x; the way to another place */
INLINE Vec3 arm(Station cg, double x) { return (Vec3){cg.x - x, -cg.y, -cg.z}; }
INLINE Vec3 offset(Station cg, Station place) { return (Vec3){cg.x - place.x, place.y - cg.y, place.z - cg.z}; }

INLINE Vec3 to_world(Mat m, Vec3 a) {
    return (Vec3){m.xx * a.x + m.xy * a.y + m.xz * a.z, m.yx * a.x + m.yy * a.y + m.yz * a.z, m.zx * a.x + m.zy * a.y + m.zz * a.z};
}
INLINE Vec3 to_body(Mat m, Vec3 a) {
    return (Vec3){m.xx * a.x + m.yx * a.y + m.zx * a.z, m.xy * a.x + m.yy * a.y + m.zy * a.z, m.xz * a.x + m.yz * a.y + m.zz * a.z};
}
INLINE Mat matrix_of(Quat q) {
    return (Mat){1 - 2 * (q.y * q.y + q.z * q.z), 2 * (q.x * q.y - q.w * q.z),     2 * (q.x * q.z + q.w * q.y),
                 2 * (q.x * q.y + q.w * q.z),     1 - 2 * (q.x * q.x + q.z * q.z), 2 * (q.y * q.z - q.w * q.x),
                 2 * (q.x * q.z - q.w * q.y),     2 * (q.y * q.z + q.w * q.x),     1 - 2 * (q.x * q.x + q.y * q.y)};
}
INLINE Quat multiply(Quat a, Quat b) {
    return (Quat){a.w * b.w - a.x * b.x - a.y * b.y - a.z * b.z, a.w * b.x + a.x * b.w + a.y * b.z - a.z * b.y,
                  a.w * b.y - a.x * b.z + a.y * b.w + a.z * b.x, a.w * b.z + a.x * b.y - a.y * b.x + a.z * b.w};
}
INLINE Quat conjugate(Quat q) { return (Quat){q.w, -q.x, -q.y, -q.z}; }
INLINE Quat quaternion_rate(Quat q, Vec3 w) {
    return (Quat){-0.5 * (q.x * w.x + q.y * w.y + q.z * w.z), 0.5 * (q.w * w.x + q.y * w.z - q.z * w.y), 0.5 * (q.w * w.y + q.z * w.x - q.x * w.z),
                  0.5 * (q.w * w.z + q.x * w.y - q.y * w.x)};
}
INLINE Quat normalised(Quat q) {
    double k = 1.0 / sqrt(q.w * q.w + q.x * q.x + q.y * q.y + q.z * q.z);
    return (Quat){q.w * k, q.x * k, q.y * k, q.z * k};
}
INLINE State axpy(State s, State k, double h) {
    return (State){add(s.r, scale(k.r, h)),
                   add(s.v, scale(k.v, h)),
                   {s.q.w + h * k.q.w, s.q.x + h * k.q.x, s.q.y + h * k.q.y, s.q.z + h * k.q.z},
                   add(s.w, scale(k.w, h))};
}
INLINE Vec3 sym_times(Sym s, Vec3 a) {
    return (Vec3){s.xx * a.x + s.xy * a.y + s.xz * a.z, s.xy * a.x + s.yy * a.y + s.yz * a.z, s.xz * a.x + s.yz * a.y + s.zz * a.z};
}
INLINE Sym sym_inverse(Sym s) {
    double a = s.yy * s.zz - s.yz * s.yz, b = s.xz * s.yz - s.xy * s.zz, c = s.xy * s.yz - s.xz * s.yy;
    double k = 1.0 / (s.xx * a + s.xy * b + s.xz * c);
    return (Sym){a * k, (s.xx * s.zz - s.xz * s.xz) * k, (s.xx * s.yy - s.xy * s.xy) * k, b * k, c * k, (s.xy * s.xz - s.xx * s.yz) * k};
}
/* |d|^2 E - d d^T */
INLINE Sym spread(Vec3 d) { return (Sym){d.y * d.y + d.z * d.z, d.x * d.x + d.z * d.z, d.x * d.x + d.y * d.y, -d.x * d.y, -d.x * d.z, -d.y * d.z}; }

/* row and fraction of a position in a table, held beyond both ends; a NaN reads the first row */
INLINE double cell(double x, long rows, long *i) {
    x = x > 0.0 ? x : 0.0;
    x = x < rows - 1.0 ? x : rows - 1.0;
    *i = (long)x < rows - 2 ? (long)x : rows - 2;
    return x - *i;
}
/* a column between a row and the one `step` numbers on */
INLINE double lerp(const double *row, long step, double f, int column) { return row[column] + f * (row[step + column] - row[column]); }
INLINE double surface(const double *table, long rows, long columns, double x, double y) {
    long i, j;
    double f = cell(x, rows, &i), g = cell(y, columns, &j);
    const double *low = table + columns * i + j, *high = low + columns;
    double a = low[0] + g * (low[1] - low[0]), b = high[0] + g * (high[1] - high[0]);
    return a + f * (b - a);
}
INLINE const double *row_of(const Table *t, long i) { return t->at + t->n[1] * i; }

INLINE double small_sin(double a) {
    double b = a * a;
    return a * (1.0 - b / 6.0 * (1.0 - b / 20.0 * (1.0 - b / 42.0 * (1.0 - b / 72.0))));
}
static Quat launch_frame(double azimuth) { return multiply((Quat){cos(0.5 * azimuth), 0, 0, -sin(0.5 * azimuth)}, (Quat){0.5, -0.5, -0.5, -0.5}); }
static Quat tilt_quaternion(double pitch, double yaw, double roll) {
    Quat a = {cos(0.5 * yaw), 0, 0, sin(0.5 * yaw)}, b = {cos(0.5 * pitch), 0, -sin(0.5 * pitch), 0}, c = {cos(0.5 * roll), sin(0.5 * roll), 0, 0};
    return multiply(multiply(a, b), c);
}
static double tilt_of(Quat frame, Quat q) { return acos(clip(matrix_of(multiply(conjugate(frame), q)).xx, -1.0, 1.0)); }
INLINE Vec3 vector_at(const double *row) { return (Vec3){row[0], row[1], row[2]}; }
INLINE Quat quaternion_at(const double *row) { return (Quat){row[0], row[1], row[2], row[3]}; }
INLINE void put_vector(double *row, Vec3 v) { row[0] = v.x, row[1] = v.y, row[2] = v.z; }
INLINE void put_quaternion(double *row, Quat q) { row[0] = q.w, row[1] = q.x, row[2] = q.y, row[3] = q.z; }
INLINE void fill(double *x, long n, double value) {
    for (long i = 0; i < n; i++) x[i] = value;
}
