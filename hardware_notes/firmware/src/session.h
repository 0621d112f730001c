/* Requests of the host, and the board's health. */
#ifndef SESSION_H
#define SESSION_H

/* Takes what the host has said. */
void session_poll(void);

#endif
