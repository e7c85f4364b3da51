// SPDX-License-Identifier: MIT
#ifndef SOAKLEDGER_VERSION_H
#define SOAKLEDGER_VERSION_H

#define SOAKLEDGER_VERSION "0.1"

#endif
