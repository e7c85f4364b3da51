// SPDX-License-Identifier: MIT
/* For the analyser alone, which sees one file at a time: that a fault is always answered with -1. */
#ifndef SOAKLEDGER_TESTS_ANALYSE_H
#define SOAKLEDGER_TESTS_ANALYSE_H

#include "soakledger/fault.h"

#define fault_set(...)       ((fault_set)(__VA_ARGS__), -1)
#define fault_set_errno(...) ((fault_set_errno)(__VA_ARGS__), -1)

#endif
