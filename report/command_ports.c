// SPDX-License-Identifier: MIT
#include <stdlib.h>
#include <string.h>

#include "command.h"
#include "soakledger/adapter.h"
#include "soakledger/words.h"

enum { NAME_BYTES = 32, RULE_INDENT = 4, FIRST_PRINTABLE = 0x20 };
static const char RULES_FILE[] = "/etc/udev/rules.d/60-soakledger.rules";

/* ---- for people ---- */

/* udev takes a line that ends in a backslash together with the next one. */
static void command_print_rule(FILE *out, const char *rule) {
    size_t column = 0;

    while (*rule != '\0') {
        const char *comma = strstr(rule, ", ");
        const size_t length = comma != NULL ? (size_t)(comma - rule) + 1 : strlen(rule);
        const size_t tail = comma != NULL ? sizeof " \\" - 1 : 0;

        if (column > 0 && column + 1 + length + tail >= COMMAND_LINE_COLUMNS) {
            fprintf(out, " \\\n%*s", RULE_INDENT, "");
            column = RULE_INDENT;
        } else if (column > 0) {
            fputc(' ', out);
            column++;
        }
        fprintf(out, "%.*s", (int)length, rule);
        column += length;
        rule += length + (comma != NULL ? 1 : 0);
    }
    fputc('\n', out);
}

/* A path is not broken: a long one gets a line of its own. */
static void command_print_place(FILE *out, const char *label, const char *place) {
    if (strlen(label) + words_columns(place) < COMMAND_LINE_COLUMNS)
        fprintf(out, "%s%s\n", label, place);
    else
        fprintf(out, "%.*s\n    %s\n", (int)strlen(label) - 2, label, place);
}

static void command_print_adapter(FILE *out, const struct adapter *adapter) {
    char line[COMMAND_TEXT_BYTES], text[COMMAND_TEXT_BYTES];

    snprintf(line, sizeof line, "%s  %s", adapter->device,
             adapter->description[0] != '\0' ? command_clean(adapter->description, text) : "(no description)");
    command_print(out, 2, line);
    if (adapter->vendor != ADAPTER_NOT_GIVEN)
        fprintf(out, "  USB device     %04x:%04x (vendor:product)\n", (unsigned)adapter->vendor,
                (unsigned)adapter->product);
    if (adapter->is_usb)
        fprintf(out, "  serial number  %s\n",
                adapter->serial_number[0] != '\0' ? command_clean(adapter->serial_number, text) : "none");
    command_print_place(out, "  plugged into   ",
                        adapter->socket[0] != '\0' ? command_clean(adapter->socket, text)
                        : adapter->is_usb          ? "not known"
                                                   : "built in");
    if (adapter->link[0] != '\0')
        command_print_place(out, "  found by path  ", command_clean(adapter->link, text));
}

static const char *command_key_words(enum adapter_key key) {
    switch (key) {
    case ADAPTER_BY_SERIAL_NUMBER: return "by serial number: the name goes with the adapter";
    case ADAPTER_BY_SOCKET: return "by socket: what is plugged in there has the name";
    case ADAPTER_BY_DEVICE: return "built in, it keeps its name anyway";
    case ADAPTER_BY_NOTHING: break;
    }
    return "no rule: no number of its own, socket not known";
}

static void command_name_line(size_t index, char out[NAME_BYTES]) {
    snprintf(out, NAME_BYTES, "line-%zu", index + 1);
}

static void command_print_rules(FILE *out, const struct adapter *adapters, size_t count) {
    char rule[ADAPTER_RULE_BYTES], name[NAME_BYTES];

    fprintf(out, "\nNames that stay: put these lines into\n%s,\nwith names of your own for line-1 and so on:\n\n",
            RULES_FILE);
    for (size_t i = 0; i < count; i++) {
        command_name_line(i, name);
        fprintf(out, "# %s, %s\n", adapters[i].device, command_key_words(adapter_choose_key(adapters, count, i)));
        if (adapter_write_rule(adapters, count, i, name, rule)[0] != '\0')
            command_print_rule(out, rule);
    }
    fputs("\nThen:  udevadm control --reload && udevadm trigger --subsystem-match=tty\n"
          "The device in soakledger.conf is then /dev/soakledger/line-1.\n",
          out);
}

static void command_print_missing(FILE *out, bool any) {
    fputs(any ? "\nNo USB adapter is there. If one should be:\n" : "No serial port is there. If one should be:\n",
          out);
    command_print(out, 2, "- Is it plugged in, and its cable whole? 'lsusb' must show it.");
    command_print(out, 2, "- Was it recognised? 'dmesg | tail' then says 'attached to ttyUSB0' or alike.");
    command_print(out, 2, "- In a container or a virtual machine it must be handed through first.");
    command_print(out, 2,
                  "- To use a port one must be in its group: 'adduser YOU dialout', then log in anew. To be listed "
                  "here it needs no rights.");
}

/* ---- for machines: JSON of RFC 8259 ---- */

static void command_write_string(FILE *out, const char *name, const char *text, bool last) {
    char clean[COMMAND_TEXT_BYTES];

    fprintf(out, "    \"%s\": ", name);
    if (text[0] == '\0') {
        fprintf(out, "null%s\n", last ? "" : ",");
        return;
    }
    fputc('"', out);
    for (const char *at = command_clean(text, clean); *at != '\0'; at++) {
        if (*at == '"' || *at == '\\')
            fputc('\\', out);
        fputc((unsigned char)*at >= FIRST_PRINTABLE ? *at : ' ', out);
    }
    fprintf(out, "\"%s\n", last ? "" : ",");
}

static void command_write_number(FILE *out, const char *name, int number, const char *format) {
    char text[NAME_BYTES] = "";

    if (number != ADAPTER_NOT_GIVEN)
        snprintf(text, sizeof text, format, (unsigned)number);
    command_write_string(out, name, text, false);
}

static void command_write_json(FILE *out, const struct adapter *adapters, size_t count) {
    char rule[ADAPTER_RULE_BYTES], name[NAME_BYTES];

    fputs("[", out);
    for (size_t i = 0; i < count; i++) {
        const struct adapter *adapter = &adapters[i];

        command_name_line(i, name);
        fprintf(out, "%s\n  {\n", i > 0 ? "," : "");
        command_write_string(out, "device", adapter->device, false);
        command_write_string(out, "description", adapter->description, false);
        command_write_number(out, "usb_vendor", adapter->vendor, "%04x");
        command_write_number(out, "usb_product", adapter->product, "%04x");
        command_write_string(out, "serial_number", adapter->serial_number, false);
        command_write_string(out, "socket", adapter->socket, false);
        command_write_string(out, "interface", adapter->interface, false);
        command_write_string(out, "link", adapter->link, false);
        command_write_string(out, "udev_rule", adapter_write_rule(adapters, count, i, name, rule), true);
        fputs("  }", out);
    }
    fputs(count > 0 ? "\n]\n" : "]\n", out);
}

int command_ports(struct command *command, int argc, char **argv, struct fault *fault) {
    const bool json = argc == 1 && strcmp(argv[0], "--json") == 0;
    struct adapter *adapters;
    size_t count = 0;
    bool any_usb = false;

    if (argc > (json ? 1 : 0))
        return fault_set(fault, EX_USAGE, "'%s' is not understood: expected 'ports' or 'ports --json'", argv[0]);
    if (adapter_list(&adapters, &count, fault) != 0)
        return -1;
    if (json) {
        command_write_json(command->out, adapters, count);
        free(adapters);
        return 0;
    }
    for (size_t i = 0; i < count; i++) {
        command_print_adapter(command->out, &adapters[i]);
        any_usb = any_usb || adapters[i].is_usb;
    }
    if (count > 0)
        command_print_rules(command->out, adapters, count);
    if (!any_usb)
        command_print_missing(command->out, count > 0);
    free(adapters);
    return 0;
}
