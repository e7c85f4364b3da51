// SPDX-License-Identifier: MIT
#include "example.h"

#include <stdio.h>
#include <string.h>

const char example_text[] = "[clock]\n"
                            "start = 2026-11-16T07:00:00Z\n"
                            "[line bench]\n"
                            "link = bench\n"
                            "[oven kiln]\n"
                            "power = 2000 W\n"
                            "heat_capacity = 4 kJ/K\n"
                            "loss = 2 W/K\n"
                            "band = 5 C\n"
                            "reset = 4 min\n"
                            "noise = 0.2 C\n"
                            "[load part]\n"
                            "oven = kiln\n"
                            "heat_capacity = 200 J/K\n"
                            "lag = 3 min\n"
                            "[controller kiln]\n"
                            "line = bench\n"
                            "address = 17\n"
                            "oven = kiln\n"
                            "[register control]\n"
                            "controller = kiln\n"
                            "shows = control\n"
                            "number = 0\n"
                            "decimals = 1\n"
                            "open_value = 32767\n"
                            "[register setpoint]\n"
                            "controller = kiln\n"
                            "shows = setpoint\n"
                            "number = 1\n"
                            "[register output]\n"
                            "controller = kiln\n"
                            "shows = output\n"
                            "number = 2\n"
                            "[register part]\n"
                            "controller = kiln\n"
                            "shows = part\n"
                            "function = 4\n"
                            "number = 8\n"
                            "encoding = float32\n"
                            "unit = F\n"
                            "open_value = nan\n"
                            "[programme day]\n";

struct scene *example_read_scene(const char *programme, struct fault *fault) {
    char text[EXAMPLE_BYTES];
    const int length = snprintf(text, sizeof text, "%s%s", example_text, programme);

    if (length >= (int)sizeof text) {
        fault_set(fault, EX_SOFTWARE, "the programme is too long for an example");
        return NULL;
    }
    return scene_parse(text, (size_t)length, "example", fault);
}

size_t example_bytes_from_hex(const char *hex, uint8_t *bytes) {
    size_t count = 0;
    unsigned byte;

    for (; sscanf(hex, "%2x", &byte) == 1; hex += 2)
        bytes[count++] = (uint8_t)byte;
    return count;
}
