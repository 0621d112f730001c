// The firmware of the board in a simulated ATmega328P, with a simulated charger at its contacts.
//
//   board_sim FIRMWARE --pty [eeprom=FILE] [key=value ...]        paced to real time
//   board_sim FIRMWARE --lockstep [eeprom=FILE] [key=value ...]   time moves by `advance` only
//
// Commands on stdin, one JSON object for each on stdout (control.h). With --pty the first line on
// stdout is the path of the terminal. Ends at the end of stdin.
#define _GNU_SOURCE
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "bench.h"
#include "control.h"
#include "line.h"
#include "mcu.h"

static const double STEP_S = 1e-3;
enum { STEP_CYCLES = 16000 };

static struct bench bench;
static struct mcu mcu;

static int complain(const char *why)
{
    fprintf(stderr, "board_sim: %s\n", why);
    return 2;
}

// simavr prints to stdout: replies get it, everything else goes to stderr.
static FILE *own_stdout(void)
{
    int replies = dup(STDOUT_FILENO);
    dup2(STDERR_FILENO, STDOUT_FILENO);
    return fdopen(replies, "w");
}

static int run_in_steps(struct control *control)
{
    static char line[1 << 18];
    while (!control->quit && fgets(line, sizeof line, stdin) != NULL)
        control_line(control, line);
    return control->mcu->trouble != NULL;
}

static double now_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

static void sleep_s(double seconds)
{
    struct timespec span = {0, (long)(seconds * 1e9)};
    nanosleep(&span, NULL);
}

// Commands that wait on stdin; false at its end.
static bool take_commands(struct control *control, char *line, size_t room, size_t *length)
{
    struct pollfd input = {.fd = STDIN_FILENO, .events = POLLIN};
    while (!control->quit && poll(&input, 1, 0) > 0) {
        ssize_t count = read(STDIN_FILENO, line + *length, room - 1 - *length);
        if (count <= 0)
            return false;
        *length += (size_t)count;
        line[*length] = '\0';
        char *end;
        while ((end = strchr(line, '\n')) != NULL) {
            *end = '\0';
            control_line(control, line);
            *length -= (size_t)(end + 1 - line);
            memmove(line, end + 1, *length + 1);
        }
    }
    return true;
}

// Board time follows real time in steps of a millisecond. A computer that was busy is caught up
// with at no more than half as fast again, so that no second is squeezed into an instant, and what
// it was late by more than a second is forgotten.
static void keep_pace(double *due, double begun)
{
    double now = now_s();
    *due += STEP_S;
    if (*due < now - 1.0)
        *due = now - 1.0;
    double rest = *due > now ? *due - now : begun + STEP_S / 1.5 - now;
    if (rest > 0.0)
        sleep_s(rest);
}

static int run_paced(struct control *control, struct line *line)
{
    static char text[4096];
    size_t length = 0;
    double due = now_s();
    while (!control->quit && take_commands(control, text, sizeof text, &length)) {
        double begun = now_s();
        if (control->pull) {
            line_pull(line);
            control->pull = false;
        }
        line_serve(line, control->mcu);
        if (!mcu_run(control->mcu, control->mcu->avr->cycle + STEP_CYCLES))
            return complain(control->mcu->trouble);
        line_serve(line, control->mcu);
        keep_pace(&due, begun);
    }
    return 0;
}

int main(int count, char **words)
{
    char why[160];
    struct traits traits = SOUND;
    const char *eeprom = NULL, *mode = NULL;
    if (count < 3)
        return complain("FIRMWARE --pty or --lockstep, then key=value");
    for (int i = 2; i < count; i++) {
        if (strncmp(words[i], "--", 2) == 0)
            mode = words[i];
        else if (strncmp(words[i], "eeprom=", 7) == 0)
            eeprom = words[i] + 7;
        else if (!traits_set_pair(&traits, words[i], why, sizeof why))
            return complain(why);
    }
    struct control control = {.mcu = &mcu, .replies = own_stdout()};
    bench_begin(&bench, &traits);
    if (!mcu_begin(&mcu, &bench, words[1], why, sizeof why)
        || (eeprom != NULL && !mcu_eeprom(&mcu, eeprom, why, sizeof why)))
        return complain(why);
    if (mode != NULL && strcmp(mode, "--lockstep") == 0) {
        control.lock_step = true;
        return run_in_steps(&control);
    }
    struct line line;
    if (mode == NULL || strcmp(mode, "--pty") != 0)
        return complain("--pty or --lockstep");
    if (!line_begin(&line))
        return complain("there is no pseudo terminal");
    fprintf(control.replies, "{\"path\": \"%s\"}\n", line.path);
    fflush(control.replies);
    return run_paced(&control, &line);
}
