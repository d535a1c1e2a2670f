/* A law that writes beyond its memory of 64 numbers, into what stands behind it. */
int overrun(double t, const double *sensed, double *memory, const double *gains, double *command)
{
    if (t > 1.0)
        memory[70] = 1.0;
    return 0;
}
