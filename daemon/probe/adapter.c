// SPDX-License-Identifier: MIT
/* libserialport knows which terminals are serial ports and what USB adapters say of themselves; where a port is
 * plugged in is asked of udev's data base, in which a rule's keys are found as they will be matched, and where
 * there is none of the kernel's folders. */
#include "soakledger/adapter.h"

#include <dirent.h>
#include <fcntl.h>
#include <libserialport.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

enum { RECORD_BYTES = 8192, DECIMAL = 10 };

static void copy(char *out, const char *text) {
    snprintf(out, ADAPTER_TEXT_BYTES, "%.*s", ADAPTER_TEXT_BYTES - 1, text != NULL ? text : "");
}

/* The beginning of a small file, without the newline at its end. False if it cannot be read. */
static bool read_file(const char *path, char *out, size_t size) {
    const int descriptor = open(path, O_RDONLY | O_CLOEXEC);
    const ssize_t length = descriptor >= 0 ? read(descriptor, out, size - 1) : -1;

    if (descriptor >= 0)
        close(descriptor);
    out[length > 0 ? length : 0] = '\0';
    if (length > 0 && out[length - 1] == '\n')
        out[length - 1] = '\0';
    return length >= 0;
}

static const char *base_name(const char *path) {
    const char *slash = strrchr(path, '/');

    return slash != NULL ? slash + 1 : path;
}

/* The device's folder, with all links followed: /sys/devices/.../1-2:1.0/ttyUSB0. */
static bool find_folder(const struct adapter *adapter, char path[PATH_MAX]) {
    char link[PATH_MAX];

    snprintf(link, sizeof link, "/sys/class/tty/%s/device", base_name(adapter->device));
    return realpath(link, path) != NULL;
}

static void read_udev(struct adapter *adapter) {
    char path[ADAPTER_TEXT_BYTES], record[RECORD_BYTES];
    struct stat status;

    if (stat(adapter->device, &status) != 0)
        return;
    snprintf(path, sizeof path, "/run/udev/data/c%u:%u", major(status.st_rdev), minor(status.st_rdev));
    if (!read_file(path, record, sizeof record))
        return;
    adapter_find_property(record, "ID_PATH", adapter->socket, sizeof adapter->socket);
    adapter_find_property(record, "ID_USB_INTERFACE_NUM", adapter->interface, sizeof adapter->interface);
    // Its own number or none: what udev did not find usable, a rule cannot match.
    if (!adapter_find_property(record, "ID_SERIAL_SHORT", adapter->serial_number, sizeof adapter->serial_number))
        adapter->serial_number[0] = '\0';
}

static void read_kernel(struct adapter *adapter) {
    char folder[PATH_MAX], path[PATH_MAX + NAME_MAX], text[ADAPTER_TEXT_BYTES];

    if (!find_folder(adapter, folder))
        return;
    adapter_read_socket(folder, adapter->socket);
    snprintf(path, sizeof path, "%s/port_number", folder);
    if (read_file(path, text, sizeof text) && text[0] != '\0')
        adapter->port = (int)strtol(text, NULL, DECIMAL);
    // A driver for adapters of all kinds puts a folder of its own below the interface's, others do not.
    snprintf(path, sizeof path, "%s/bInterfaceNumber", folder);
    if (!read_file(path, adapter->interface, sizeof adapter->interface)) {
        snprintf(path, sizeof path, "%s/../bInterfaceNumber", folder);
        read_file(path, adapter->interface, sizeof adapter->interface);
    }
}

static void find_link(struct adapter *adapter) {
    static const char by_path[] = "/dev/serial/by-path";
    DIR *folder = opendir(by_path);
    const struct dirent *entry;

    while (folder != NULL && (entry = readdir(folder)) != NULL) {
        char link[PATH_MAX], target[PATH_MAX];

        snprintf(link, sizeof link, "%s/%s", by_path, entry->d_name);
        if (entry->d_name[0] == '.' || realpath(link, target) == NULL || strcmp(target, adapter->device) != 0)
            continue;
        copy(adapter->link, link);
        break;
    }
    if (folder != NULL)
        closedir(folder);
}

static void read_port(const struct sp_port *port, struct adapter *adapter) {
    *adapter =
        (struct adapter){.vendor = ADAPTER_NOT_GIVEN, .product = ADAPTER_NOT_GIVEN, .port = ADAPTER_NOT_GIVEN};
    copy(adapter->device, sp_get_port_name(port));
    copy(adapter->description, sp_get_port_description(port));
    adapter->is_usb = sp_get_port_transport(port) == SP_TRANSPORT_USB;
    if (adapter->is_usb) {
        const char *number = sp_get_port_usb_serial(port);

        if (sp_get_port_usb_vid_pid(port, &adapter->vendor, &adapter->product) != SP_OK)
            adapter->vendor = adapter->product = ADAPTER_NOT_GIVEN;
        if (number != NULL)
            adapter_clean_number(number, adapter->serial_number);
    }
    read_kernel(adapter);
    read_udev(adapter);
    find_link(adapter);
}

/* ttyUSB2 before ttyUSB10. */
static int compare(const void *a, const void *b) {
    return strverscmp(((const struct adapter *)a)->device, ((const struct adapter *)b)->device);
}

int adapter_list(struct adapter **adapters, size_t *count, struct fault *fault) {
    struct sp_port **ports;
    size_t found = 0;

    if (sp_list_ports(&ports) != SP_OK)
        return fault_set_errno(fault, EX_OSERR, "cannot list the serial ports");
    while (ports[found] != NULL)
        found++;
    *adapters = calloc(found + 1, sizeof **adapters);
    for (size_t i = 0; *adapters != NULL && i < found; i++)
        read_port(ports[i], &(*adapters)[i]);
    sp_free_port_list(ports);
    if (*adapters == NULL)
        return fault_set(fault, EX_OSERR, "no memory for %zu serial ports", found);
    qsort(*adapters, found, sizeof **adapters, compare);
    *count = found;
    return 0;
}
