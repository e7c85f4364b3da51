// SPDX-License-Identifier: MIT
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/adapter.h"

enum { PIECE_BYTES = ADAPTER_TEXT_BYTES + 32 };

static bool same(const char *a, const char *b) {
    return strcmp(a, b) == 0;
}

/* ---- what the system says ---- */

static bool is_pci_address(const char *piece, size_t length) {
    static const char shape[] = "xxxx:xx:xx.x"; // domain, bus, device, function; x is a hexadecimal digit

    if (length != sizeof shape - 1)
        return false;
    for (size_t i = 0; i < length; i++) {
        if (shape[i] == 'x' ? !isxdigit((unsigned char)piece[i]) : piece[i] != shape[i])
            return false;
    }
    return true;
}

/* Names as systemd's path_id gives them, which is how ID_PATH comes about: the PCI device next to the USB, and then
 * the way through the hubs with the interface, "1-2.4:1.0" being "usb-0:2.4:1.0". */
char *adapter_read_socket(const char *sysfs_path, char *out) {
    char pci[ADAPTER_TEXT_BYTES] = "", usb[ADAPTER_TEXT_BYTES] = "";

    for (const char *piece = sysfs_path; *piece != '\0';) {
        const size_t length = strcspn(piece, "/");
        const char *dash = memchr(piece, '-', length);

        if (is_pci_address(piece, length))
            snprintf(pci, sizeof pci, "%.*s", (int)length, piece);
        else if (dash != NULL && isdigit((unsigned char)piece[0]) && memchr(piece, ':', length) != NULL)
            snprintf(usb, sizeof usb, "%.*s", (int)(length - (size_t)(dash + 1 - piece)), dash + 1);
        piece += length + (piece[length] == '/' ? 1 : 0);
    }
    out[0] = '\0';
    if (pci[0] != '\0' && usb[0] != '\0' && strlen(pci) + strlen(usb) + sizeof "pci--usb-0:" <= ADAPTER_TEXT_BYTES)
        sprintf(out, "pci-%s-usb-0:%s", pci, usb);
    return out;
}

static bool is_allowed(unsigned char character) {
    // What udev lets into a property, "#+-.:=@_" and "/ $%?,": systemd's device-nodes and udev-util.
    return isalnum(character) || strchr("#+-.:=@_/$%?,", character) != NULL || character >= 0x80;
}

char *adapter_clean_number(const char *text, char *out) {
    size_t used = 0;

    text += strspn(text, " \t\n\r\f\v");
    for (; *text != '\0' && used < ADAPTER_TEXT_BYTES - 1; text++) {
        const bool space = isspace((unsigned char)*text) != 0;

        if (space && (isspace((unsigned char)text[1]) || text[1] == '\0'))
            continue;
        out[used++] = (char)(!space && is_allowed((unsigned char)*text) ? *text : '_');
    }
    out[used] = '\0';
    return out;
}

bool adapter_find_property(const char *record, const char *key, char *out, size_t size) {
    const size_t key_length = strlen(key);

    for (const char *row = record; *row != '\0';) {
        const size_t length = strcspn(row, "\n");

        if (strncmp(row, "E:", 2) == 0 && length > key_length + 2 && strncmp(row + 2, key, key_length) == 0 &&
            row[2 + key_length] == '=') {
            snprintf(out, size, "%.*s", (int)(length - key_length - 3), row + key_length + 3);
            return true;
        }
        row += length + (row[length] == '\n' ? 1 : 0);
    }
    return false;
}

/* ---- rules ---- */

/* A rule's text is matched as a pattern and ends at a quotation mark: with one of these in it, it says something
 * else. */
static bool can_be_matched(const char *text) {
    return text[0] != '\0' && strpbrk(text, "\"*?[]|\\") == NULL;
}

/* Ports of one device, which share its number. */
static bool are_siblings(const struct adapter *a, const struct adapter *b) {
    const char *a_colon = strrchr(a->socket, ':'), *b_colon = strrchr(b->socket, ':');

    // The part behind the last colon is the interface.
    return a_colon != NULL && b_colon != NULL && a_colon - a->socket == b_colon - b->socket &&
           strncmp(a->socket, b->socket, (size_t)(a_colon - a->socket)) == 0;
}

/* Two ports behind one interface without numbers of their own: any rule fits both. */
static bool are_twins(const struct adapter *a, const struct adapter *b) {
    return are_siblings(a, b) && same(a->interface, b->interface) &&
           (a->port == ADAPTER_NOT_GIVEN || a->port == b->port);
}

enum adapter_key adapter_choose_key(const struct adapter *adapters, size_t count, size_t index) {
    const struct adapter *adapter = &adapters[index];
    bool own_number = can_be_matched(adapter->serial_number);

    if (!adapter->is_usb)
        return ADAPTER_BY_DEVICE;
    for (size_t i = 0; i < count; i++) {
        if (i == index)
            continue;
        if (are_twins(adapter, &adapters[i]))
            return ADAPTER_BY_NOTHING;
        if (same(adapters[i].serial_number, adapter->serial_number) && !are_siblings(&adapters[i], adapter))
            own_number = false;
    }
    if (own_number)
        return ADAPTER_BY_SERIAL_NUMBER;
    return can_be_matched(adapter->socket) ? ADAPTER_BY_SOCKET : ADAPTER_BY_NOTHING;
}

char *adapter_write_rule(const struct adapter *adapters, size_t count, size_t index, const char *name, char *out) {
    const struct adapter *adapter = &adapters[index];
    const enum adapter_key key = adapter_choose_key(adapters, count, index);
    char main_key[PIECE_BYTES] = "", interface[PIECE_BYTES] = "", port[PIECE_BYTES] = "";

    out[0] = '\0';
    switch (key) {
    case ADAPTER_BY_SERIAL_NUMBER:
        snprintf(main_key, sizeof main_key, "ENV{ID_SERIAL_SHORT}==\"%s\"", adapter->serial_number);
        break;
    case ADAPTER_BY_SOCKET: snprintf(main_key, sizeof main_key, "ENV{ID_PATH}==\"%s\"", adapter->socket); break;
    case ADAPTER_BY_DEVICE:
        snprintf(main_key, sizeof main_key, "KERNEL==\"%s\"", strrchr(adapter->device, '/') + 1);
        break;
    case ADAPTER_BY_NOTHING: return out;
    }
    for (size_t i = 0; i < count; i++) {
        if (i == index || !adapter->is_usb || !are_siblings(&adapters[i], adapter))
            continue;
        if (key == ADAPTER_BY_SERIAL_NUMBER && !same(adapters[i].interface, adapter->interface))
            snprintf(interface, sizeof interface, ", ENV{ID_USB_INTERFACE_NUM}==\"%s\"", adapter->interface);
        if (same(adapters[i].interface, adapter->interface) && adapter->port != ADAPTER_NOT_GIVEN)
            snprintf(port, sizeof port, ", ATTRS{port_number}==\"%d\"", adapter->port);
    }
    snprintf(out, ADAPTER_RULE_BYTES, "SUBSYSTEM==\"tty\", %s%s%s, SYMLINK+=\"soakledger/%s\"", main_key, interface,
             port, name);
    return out;
}
