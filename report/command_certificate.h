// SPDX-License-Identifier: MIT
/* command_certificate: one certificate on its way to paper, and back from the ledger. */
#ifndef SOAKLEDGER_COMMAND_CERTIFICATE_H
#define SOAKLEDGER_COMMAND_CERTIFICATE_H

#include "command.h"
#include "soakledger/attach.h"
#include "soakledger/certificate.h"
#include "soakledger/issue.h"
#include "soakledger/keep.h"
#include "soakledger/key.h"

struct paper {
    struct certificate_issue issue;
    const char *why;     // NULL if none was given
    const char *said_by; // the reason
    bool without_readings;
    struct key *key; // NULL: not signed
    struct attach *attach;
    json_t *facts;        // as they are printed
    struct issue kept;    // what the ledger will keep, or kept
    struct issue *before; // the revision before, NULL for a first one
    struct keep *file, *signature;
    enum outcome outcome;
    /* while it is drawn */
    struct command *command;
};

/* A certificate that follows another one must say why, and a first one cannot. */
int paper_refuse_silence(struct command *command, struct paper *paper, struct fault *fault);
/* Draws, signs and writes it whole under a temporary name, and fills in what is to be kept. */
int paper_draw(struct command *command, struct paper *paper, const char *path, struct fault *fault);
/* The same from what was kept: byte for byte, or a fault. */
int paper_reprint(struct command *command, struct paper *paper, const char *path, struct fault *fault);
/* Gives the file and its signature their names. */
int paper_name(struct paper *paper, struct fault *fault);
/* Removes what was written and forgets what was drawn; another try may follow. */
void paper_drop(struct paper *paper);
void paper_free(struct paper *paper);

#endif
