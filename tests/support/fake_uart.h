// SPDX-License-Identifier: MIT
/* fake_uart: makes this program's pseudo-terminals pass for serial ports with libserialport.
 *
 * A program that calls fake_uart_plug has its own lstat, readlink, ioctl, tcgetattr and tcsetattr, which
 * libserialport then finds before the C library's. They answer for /sys/class/tty/pts/N and for modem lines, and
 * remember the parity that a pseudo-terminal's driver would drop. Everything else goes on to the C library.
 */
#ifndef SOAKLEDGER_TESTS_FAKE_UART_H
#define SOAKLEDGER_TESTS_FAKE_UART_H

#include <stdbool.h>
#include <termios.h>

/* From now on: pseudo-terminals are (or are no longer) serial ports. */
void fake_uart_plug(bool plugged);

/* The control flags last set while plugged in. */
tcflag_t fake_uart_control_flags(void);

#endif
