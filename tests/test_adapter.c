// SPDX-License-Identifier: MIT
/* Rules that give adapters names that stay. What the system really says, and what udev makes of the rules, is tried
 * in tests/machine. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <string.h>

#include "soakledger/adapter.h"

static struct adapter plug(const char *device, const char *number, const char *socket, const char *interface) {
    struct adapter adapter = {.is_usb = true, .vendor = 0x0403, .product = 0x6001, .port = ADAPTER_NOT_GIVEN};

    strcpy(adapter.device, device);
    strcpy(adapter.serial_number, number);
    strcpy(adapter.socket, socket);
    strcpy(adapter.interface, interface);
    return adapter;
}

static void expect_rule(const struct adapter *adapters, size_t count, size_t index, enum adapter_key key,
                        const char *rule) {
    char text[ADAPTER_RULE_BYTES];

    assert_int_equal(adapter_choose_key(adapters, count, index), key);
    assert_string_equal(adapter_write_rule(adapters, count, index, "hardening", text), rule);
}

static void goes_by_the_serial_number_where_there_is_one(void **state) {
    const struct adapter adapters[] = {plug("/dev/ttyUSB0", "A1B2", "pci-0000:00:14.0-usb-0:1:1.0", "00"),
                                       plug("/dev/ttyUSB1", "", "pci-0000:00:14.0-usb-0:2.4:1.0", "00")};

    (void)state;
    expect_rule(adapters, 2, 0, ADAPTER_BY_SERIAL_NUMBER,
                "SUBSYSTEM==\"tty\", ENV{ID_SERIAL_SHORT}==\"A1B2\", SYMLINK+=\"soakledger/hardening\"");
    expect_rule(adapters, 2, 1, ADAPTER_BY_SOCKET,
                "SUBSYSTEM==\"tty\", ENV{ID_PATH}==\"pci-0000:00:14.0-usb-0:2.4:1.0\", "
                "SYMLINK+=\"soakledger/hardening\"");
}

static void goes_by_the_socket_where_numbers_are_all_the_same(void **state) {
    const struct adapter adapters[] = {plug("/dev/ttyUSB0", "0001", "pci-0000:00:14.0-usb-0:1:1.0", "00"),
                                       plug("/dev/ttyUSB1", "0001", "pci-0000:00:14.0-usb-0:2:1.0", "00"),
                                       plug("/dev/ttyUSB2", "0001", "", "00")};

    (void)state;
    assert_int_equal(adapter_choose_key(adapters, 1, 0), ADAPTER_BY_SERIAL_NUMBER); // alone
    for (size_t i = 0; i < 2; i++)
        assert_int_equal(adapter_choose_key(adapters, 3, i), ADAPTER_BY_SOCKET);
    expect_rule(adapters, 3, 2, ADAPTER_BY_NOTHING, "");
}

static void tells_the_ports_of_one_adapter_by_interface(void **state) {
    const struct adapter adapters[] = {plug("/dev/ttyUSB0", "E5", "pci-0000:00:14.0-usb-0:1:1.0", "00"),
                                       plug("/dev/ttyUSB1", "E5", "pci-0000:00:14.0-usb-0:1:1.1", "01"),
                                       plug("/dev/ttyUSB2", "F6", "pci-0000:00:14.0-usb-0:11:1.0", "00")};

    (void)state;
    expect_rule(adapters, 3, 1, ADAPTER_BY_SERIAL_NUMBER,
                "SUBSYSTEM==\"tty\", ENV{ID_SERIAL_SHORT}==\"E5\", ENV{ID_USB_INTERFACE_NUM}==\"01\", "
                "SYMLINK+=\"soakledger/hardening\"");
    // In sockets 1 and 11: no siblings.
    expect_rule(adapters, 3, 2, ADAPTER_BY_SERIAL_NUMBER,
                "SUBSYSTEM==\"tty\", ENV{ID_SERIAL_SHORT}==\"F6\", SYMLINK+=\"soakledger/hardening\"");
}

static void tells_the_ports_of_one_interface_by_number(void **state) {
    struct adapter adapters[] = {plug("/dev/ttyUSB0", "", "pci-0000:00:14.0-usb-0:1:1.0", "00"),
                                 plug("/dev/ttyUSB1", "", "pci-0000:00:14.0-usb-0:1:1.0", "00")};

    (void)state;
    adapters[0].port = 0;
    adapters[1].port = 1;
    expect_rule(adapters, 2, 1, ADAPTER_BY_SOCKET,
                "SUBSYSTEM==\"tty\", ENV{ID_PATH}==\"pci-0000:00:14.0-usb-0:1:1.0\", ATTRS{port_number}==\"1\", "
                "SYMLINK+=\"soakledger/hardening\"");
    // Without a number for either, one rule would fit both.
    adapters[1].port = ADAPTER_NOT_GIVEN;
    expect_rule(adapters, 2, 1, ADAPTER_BY_NOTHING, "");
}

static void writes_no_rule_that_says_something_else(void **state) {
    const struct adapter adapters[] = {plug("/dev/ttyUSB0", "A\", RUN+=\"x", "pci-0000:00:14.0-usb-0:1:1.0", "00"),
                                       plug("/dev/ttyUSB1", "A*", "", "00")};
    struct adapter built_in = plug("/dev/ttyS1", "", "", "");

    (void)state;
    built_in.is_usb = false;
    assert_int_equal(adapter_choose_key(adapters, 2, 0), ADAPTER_BY_SOCKET);
    expect_rule(adapters, 2, 1, ADAPTER_BY_NOTHING, "");
    expect_rule(&built_in, 1, 0, ADAPTER_BY_DEVICE,
                "SUBSYSTEM==\"tty\", KERNEL==\"ttyS1\", SYMLINK+=\"soakledger/hardening\"");
}

static void reads_what_kernel_and_udev_say(void **state) {
    static const char record[] = "S:serial/by-path/x\nE:ID_PATH_TAG=no\nE:ID_PATH=pci-1\nE:ID_EMPTY=\nG:systemd\n"
                                 "I:ID_MODEL=other\nE:ID_LAST=end";
    char text[ADAPTER_TEXT_BYTES];

    (void)state;
    assert_string_equal(adapter_read_socket("/sys/devices/pci0000:00/0000:00:01.2/usb1/1-1/1-1:1.0/ttyUSB0", text),
                        "pci-0000:00:01.2-usb-0:1:1.0");
    assert_string_equal(
        adapter_read_socket("/sys/devices/pci0000:00/0000:00:1c.0/0000:02:00.0/usb2/2-1/2-1.4/2-1.4:1.1/ttyUSB3",
                            text),
        "pci-0000:02:00.0-usb-0:1.4:1.1");
    assert_string_equal(adapter_read_socket("/sys/devices/platform/serial8250/tty/ttyS1", text), "");
    assert_string_equal(
        adapter_read_socket("/sys/devices/platform/soc/3f980000.usb/usb1/1-1/1-1:1.0/ttyUSB0", text), "");
    assert_string_equal(adapter_clean_number("  A B\t\tC;1/2\n", text), "A_B_C_1/2");
    assert_string_equal(adapter_clean_number("", text), "");
    assert_true(adapter_find_property(record, "ID_PATH", text, sizeof text));
    assert_string_equal(text, "pci-1");
    assert_true(adapter_find_property(record, "ID_LAST", text, sizeof text));
    assert_string_equal(text, "end");
    assert_true(adapter_find_property(record, "ID_EMPTY", text, sizeof text));
    assert_string_equal(text, "");
    assert_false(adapter_find_property(record, "ID_MODEL", text, sizeof text));
    assert_false(adapter_find_property(record, "PATH", text, sizeof text));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(goes_by_the_serial_number_where_there_is_one),
        cmocka_unit_test(goes_by_the_socket_where_numbers_are_all_the_same),
        cmocka_unit_test(tells_the_ports_of_one_adapter_by_interface),
        cmocka_unit_test(tells_the_ports_of_one_interface_by_number),
        cmocka_unit_test(writes_no_rule_that_says_something_else),
        cmocka_unit_test(reads_what_kernel_and_udev_say),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
