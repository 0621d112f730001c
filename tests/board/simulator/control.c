#include "control.h"
#include "probe.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

enum { LONGEST_STEP_US = 20000 };

static void reply(struct control *control, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    vfprintf(control->replies, format, arguments);
    va_end(arguments);
    fputc('\n', control->replies);
    fflush(control->replies);
}

static void refuse(struct control *control, const char *why)
{
    reply(control, "{\"error\": \"%s\"}", why);
}

static void accept(struct control *control)
{
    reply(control, "{\"tick\": %llu}", (unsigned long long)control->mcu->avr->cycle);
}

static int digit(char c)
{
    const char *digits = "0123456789abcdef";
    const char *at = c ? strchr(digits, c) : NULL;
    return at != NULL ? (int)(at - digits) : -1;
}

// False if the text is no whole number of bytes in hexadecimal.
static bool send_hex(struct mcu *mcu, const char *text)
{
    static uint8_t bytes[1 << 16];
    unsigned count = 0;
    for (; text[0] != '\0' && count < sizeof bytes; text += 2) {
        int high = digit(text[0]), low = text[0] ? digit(text[1]) : -1;
        if (high < 0 || low < 0)
            return false;
        bytes[count++] = (uint8_t)(high << 4 | low);
    }
    uart_send(mcu, bytes, count);
    return true;
}

static void advance(struct control *control, char *arguments)
{
    struct mcu *mcu = control->mcu;
    char *rest;
    long us = strtol(arguments, &rest, 10);
    while (*rest == ' ')
        rest++;
    if (!control->lock_step || us < 0 || us > LONGEST_STEP_US || !send_hex(mcu, rest)) {
        refuse(control, "advance takes at most 20000 microseconds, and bytes as hexadecimal, in lock step");
        return;
    }
    if (!mcu_run(mcu, mcu->avr->cycle + (avr_cycle_count_t)us * 16)) {
        refuse(control, mcu->trouble);
        control->quit = true;
        return;
    }
    fprintf(control->replies, "{\"tick\": %llu, \"bytes\": \"", (unsigned long long)mcu->avr->cycle);
    for (unsigned i = 0; i < mcu->uart.from_board_count; i++)
        fprintf(control->replies, "%02x", mcu->uart.from_board[i]);
    mcu->uart.from_board_count = 0;
    reply(control, "\"}");
}

static void set(struct control *control, const char *pair)
{
    char why[128];
    struct mcu *mcu = control->mcu;
    bench_advance(mcu->bench, mcu_time(mcu));
    if (!bench_change(mcu->bench, mcu_time(mcu), pair, why, sizeof why)) {
        refuse(control, why);
        return;
    }
    mcu_wake_bench(mcu);
    accept(control);
}

static void set_later(struct control *control, char *arguments)
{
    char why[128] = "at TICK set KEY=VALUE";
    struct mcu *mcu = control->mcu;
    char *rest;
    unsigned long long tick = strtoull(arguments, &rest, 10);
    if (strncmp(rest, " set ", 5) != 0
        || !bench_plan(mcu->bench, mcu_time_of(mcu, tick), rest + 5, why, sizeof why)) {
        refuse(control, why);
        return;
    }
    mcu_wake_bench(mcu);
    accept(control);
}

static void interlock(struct control *control, const char *word)
{
    bool closed = strcmp(word, "closed") == 0;
    if (!closed && strcmp(word, "open") != 0) {
        refuse(control, "interlock open or closed");
        return;
    }
    mcu_interlock(control->mcu, closed);
    accept(control);
}

static void pins(struct control *control)
{
    struct mcu *mcu = control->mcu;
    struct bench *bench = mcu->bench;
    double now = mcu_time(mcu);
    bench_advance(bench, now);
    reply(control,
          "{\"tick\": %llu, \"word\": %lu, \"enabled\": %s, \"rung\": \"%s\", \"contacts\": %lu, "
          "\"lamp\": %s, \"interlock_closed\": %s, \"mains\": [%d, %d, %d], \"pilot_v\": %.6f, "
          "\"pulses\": %s, \"resets\": %u, \"line_overruns\": %lu, \"line_lost\": %lu, "
          "\"conversions\": %llu}",
          (unsigned long long)mcu->avr->cycle, (unsigned long)bench->relays.latched,
          bench->relays.enabled ? "true" : "false", relays_rung(&bench->relays),
          (unsigned long)bench->relays.pulled, bench->lamp ? "true" : "false",
          bench->interlock_closed ? "true" : "false", bench->mains.pole[0], bench->mains.pole[1],
          bench->mains.pole[2], pilot_volts(&bench->pilot, now),
          bench->pilot.generator == GENERATOR_PULSING ? "true" : "false", mcu->resets,
          mcu->uart.overruns, mcu->uart.from_board_lost,
          (unsigned long long)mcu->converter.conversions);
}

static void number(FILE *stream, const char *name, double value)
{
    if (isfinite(value))
        fprintf(stream, "\"%s\": %.9g, ", name, value);
    else
        fprintf(stream, "\"%s\": null, ", name);
}

static void truth(struct control *control, const char *argument)
{
    struct bench *bench = control->mcu->bench;
    struct truth *truth = &bench->pilot.truth;
    double width = truth->zero_width_sum_s / truth->widths;
    double squares = truth->zero_width_squares / truth->widths - width * width;
    fprintf(control->replies, "{");
    number(control->replies, "period_us", truth->period_sum_s / truth->periods * 1e6);
    number(control->replies, "width_us", width * 1e6);
    number(control->replies, "width_deviation_us", sqrt(fmax(0.0, squares)) * 1e6);
    number(control->replies, "mid_width_us", truth->mid_width_sum_s / truth->mid_widths * 1e6);
    number(control->replies, "high_v", pilot_high(&bench->pilot));
    number(control->replies, "low_v", pilot_low(&bench->pilot));
    number(control->replies, "clock_hz", control->mcu->hz);
    reply(control, "\"periods\": %llu}", (unsigned long long)truth->periods);
    if (strcmp(argument, "clear") == 0)
        *truth = (struct truth){0};
}

static void changes(struct control *control)
{
    struct bench *bench = control->mcu->bench;
    unsigned first = control->changes_told;
    if (bench->change_count - first > CHANGES)
        first = bench->change_count - CHANGES;
    fprintf(control->replies, "{\"changes\": [");
    for (unsigned i = first; i != bench->change_count; i++) {
        const struct change *change = &bench->changes[i % CHANGES];
        fprintf(control->replies, "%s[%llu, \"%s\", \"%s\"]", i == first ? "" : ", ",
                (unsigned long long)mcu_cycle_of(control->mcu, change->time), change->what,
                change->value);
    }
    control->changes_told = bench->change_count;
    reply(control, "]}");
}

static void restart(struct control *control, const char *argument)
{
    struct mcu *mcu = control->mcu;
    bench_advance(mcu->bench, mcu_time(mcu));
    charger_restart(&mcu->bench->charger, mcu_time(mcu), atof(argument));
    mcu_wake_bench(mcu);
    accept(control);
}

static void other(struct control *control, const char *word, char *arguments)
{
    if (strcmp(word, "reset") == 0) {
        mcu_reset(control->mcu, atof(arguments) * 1e-3);
        accept(control);
    } else if (strcmp(word, "restart") == 0) {
        restart(control, arguments);
    } else if (strcmp(word, "pull") == 0 && !control->lock_step) {
        control->pull = true;
        accept(control);
    } else if (strcmp(word, "chain") == 0) {
        control->mcu->chain_broken = strcmp(arguments, "broken") == 0;
        accept(control);
    } else if (strcmp(word, "memory") == 0) {
        probe_memory(control->mcu, control->replies, arguments);
    } else if (strcmp(word, "interrupts") == 0) {
        probe_interrupts(control->mcu, control->replies, strcmp(arguments, "clear") == 0);
    } else if (strcmp(word, "loop") == 0) {
        probe_loop(control->mcu, control->replies, arguments);
    } else if (strcmp(word, "quit") == 0) {
        control->quit = true;
        accept(control);
    } else {
        refuse(control, "there is no such command");
    }
}

void control_line(struct control *control, char *line)
{
    line[strcspn(line, "\r\n")] = '\0';
    char *arguments = strchr(line, ' ');
    if (arguments != NULL)
        *arguments++ = '\0';
    else
        arguments = line + strlen(line);
    if (strcmp(line, "advance") == 0)
        advance(control, arguments);
    else if (strcmp(line, "set") == 0)
        set(control, arguments);
    else if (strcmp(line, "at") == 0)
        set_later(control, arguments);
    else if (strcmp(line, "interlock") == 0)
        interlock(control, arguments);
    else if (strcmp(line, "pins") == 0)
        pins(control);
    else if (strcmp(line, "truth") == 0)
        truth(control, arguments);
    else if (strcmp(line, "changes") == 0)
        changes(control);
    else
        other(control, line, arguments);
}
