#define _GNU_SOURCE
#include "line.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

// The slave stays open here: without anybody on it reads of the master fail.
bool line_begin(struct line *line)
{
    struct termios modes;
    line->master = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (line->master < 0 || grantpt(line->master) != 0 || unlockpt(line->master) != 0
        || ptsname_r(line->master, line->path, sizeof line->path) != 0)
        return false;
    line->slave = open(line->path, O_RDWR | O_NOCTTY);
    if (line->slave < 0 || tcgetattr(line->slave, &modes) != 0)
        return false;
    cfmakeraw(&modes);
    return tcsetattr(line->slave, TCSANOW, &modes) == 0;
}

static void take(struct line *line, struct mcu *mcu)
{
    uint8_t bytes[4096];
    ssize_t count = read(line->master, bytes, sizeof bytes);
    if (count > 0)
        uart_send(mcu, bytes, (unsigned)count);
}

static void give(struct line *line, struct mcu *mcu)
{
    struct uart *uart = &mcu->uart;
    if (uart->from_board_count == 0)
        return;
    ssize_t count = write(line->master, uart->from_board, uart->from_board_count);
    if (count <= 0)
        return;
    uart->from_board_count -= (unsigned)count;
    memmove(uart->from_board, uart->from_board + count, uart->from_board_count);
}

void line_serve(struct line *line, struct mcu *mcu)
{
    if (line->master < 0) {
        mcu->uart.from_board_count = 0;
        return;
    }
    take(line, mcu);
    give(line, mcu);
}

void line_pull(struct line *line)
{
    close(line->slave);
    close(line->master);
    line->master = line->slave = -1;
}
