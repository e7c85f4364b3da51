// SPDX-License-Identifier: MIT
/* adapter: the serial ports that are plugged in, what tells each from every other one, and the rule by which udev
 * gives it a name that stays. Looks only at what the system knows of them: no port is opened for it but by
 * libserialport, which asks the built-in ones whether they have a chip. */
#ifndef SOAKLEDGER_ADAPTER_H
#define SOAKLEDGER_ADAPTER_H

#include <stdbool.h>
#include <stddef.h>

#include "soakledger/fault.h"

enum { ADAPTER_TEXT_BYTES = 160, ADAPTER_RULE_BYTES = 1024, ADAPTER_NOT_GIVEN = -1 };

struct adapter {
    char device[ADAPTER_TEXT_BYTES];      // "/dev/ttyUSB0"
    char description[ADAPTER_TEXT_BYTES]; // in the adapter's own words; "" if it says nothing
    bool is_usb;
    int vendor, product;                    // USB; ADAPTER_NOT_GIVEN
    char serial_number[ADAPTER_TEXT_BYTES]; // as udev writes it (ID_SERIAL_SHORT); "" if it has none
    char socket[ADAPTER_TEXT_BYTES];        // where it is plugged in (ID_PATH); "" if not known
    char interface[ADAPTER_TEXT_BYTES];     // USB interface number, "00"; "" if none
    int port;                               // of several behind one interface; ADAPTER_NOT_GIVEN
    char link[ADAPTER_TEXT_BYTES];          // one of /dev/serial/by-path, "" if there is none
};

/* Fills in what is there, in the order of the devices' names. *adapters is freed with free. */
int adapter_list(struct adapter **adapters, size_t *count, struct fault *fault);

/* What a rule goes by. */
enum adapter_key {
    ADAPTER_BY_SERIAL_NUMBER,
    ADAPTER_BY_SOCKET,
    ADAPTER_BY_DEVICE, // built in: its name does not change
    ADAPTER_BY_NOTHING,
};

/* What tells adapter `index` from all the others. */
enum adapter_key adapter_choose_key(const struct adapter *adapters, size_t count, size_t index);
/* The udev rule, on one line, that names it /dev/soakledger/`name`; "" for ADAPTER_BY_NOTHING. ADAPTER_RULE_BYTES.
 */
char *adapter_write_rule(const struct adapter *adapters, size_t count, size_t index, const char *name, char *out);

/* ---- for those who read what system and udev say; pure ---- */

/* ID_PATH from a sysfs path where PCI and USB lead to the port, "" for any other way. ADAPTER_TEXT_BYTES. */
char *adapter_read_socket(const char *sysfs_path, char *out);
/* As udev writes what a device calls itself: white space at the ends is dropped and elsewhere becomes one '_', and
 * so does each other character that it does not allow. ADAPTER_TEXT_BYTES. */
char *adapter_clean_number(const char *text, char *out);
/* The value of "E:KEY=value" in a record of udev's data base. False if it is not there. */
bool adapter_find_property(const char *record, const char *key, char *out, size_t size);

#endif
