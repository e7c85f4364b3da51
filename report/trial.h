// SPDX-License-Identifier: MIT
/* trial: what the sheets about sensors and work zones share: title, answer, charts of readings, cautions. */
#ifndef SOAKLEDGER_TRIAL_H
#define SOAKLEDGER_TRIAL_H

#include "command.h"
#include "soakledger/chart.h"
#include "soakledger/sheet.h"
#include "soakledger/trials.h"

enum {
    TRIAL_TEXT_BYTES = 1024,
    TRIAL_NAME_BYTES = 320,
    TRIAL_SHORT_BYTES = 120,
    TRIAL_MOST_CURVES = SURVEY_SENSORS_MOST + 2
};

/* A sheet that is being drawn. */
struct trial {
    const struct config *config;
    struct page_document *page;
    struct sheet sheet;
    struct page_about about;
    char title[TRIAL_NAME_BYTES], header[TRIAL_NAME_BYTES], footer[TRIAL_NAME_BYTES];
};

/* `title` and `header` are filled in already. `subtitle` stands under the title. */
int trial_open(struct trial *trial, const struct config *config, const char *subtitle, int64_t made_ms,
               bool simulated, struct fault *fault);
/* Hands over the finished bytes unless `result` is not 0; frees the page either way. */
int trial_finish(struct trial *trial, int result, unsigned char **bytes, size_t *length, struct fault *fault);
/* The sign of an outcome and one large sentence. */
void trial_answer(struct trial *trial, enum outcome outcome, const char *text);
/* A heading with a small remark under it, kept together with `height` of what follows. */
void trial_caption(struct trial *trial, const char *heading, const char *remark, float height);
void trial_cautions(struct trial *trial);
void trial_signature(struct trial *trial, const char *said_by);

/* Text from people, made safe and cut between characters to TRIAL_SHORT_BYTES. */
char *trial_clip(const char *text, char *out);
char *trial_time(const struct config *config, int64_t t_ms, char *out);    // TRIAL_NAME_BYTES
char *trial_moment(const struct config *config, int64_t t_ms, char *out);  // time of day only; QUANTITY_TEXT_BYTES
char *trial_difference(int64_t mc, enum temperature_unit unit, char *out); // "+3.2 °C"; QUANTITY_TEXT_BYTES
char *trial_size(int64_t mc, enum temperature_unit unit, char *out);       // "3.2 °C", without sign
char *trial_level(int64_t mc, enum temperature_unit unit, char *out);      // "805.3 °C"
/* "K-7, type K, class 1"; "not named" if nothing is known. TRIAL_NAME_BYTES. */
char *trial_sensor(const struct ledger_channel *channel, char *out);
const struct ledger_channel *trial_find_channel(const struct ledger_channel *channels, size_t count,
                                                int64_t channel_id);
/* The reading as the calibrations in force say it, which were listed with the channels. */
void trial_correct(const struct ledger_channel *channels, size_t count, struct reading *reading);
int64_t trial_uncertainty(const struct ledger_channel *channel, int64_t at_mc); // expanded; 0: not known
/* Writes the bytes to the file, whole or not at all, and says its name. */
int trial_keep(struct command *command, const char *path, unsigned char *bytes, size_t length, struct fault *fault);

/* ---- the survey ---- */

/* A survey replayed from the ledger. */
struct survey_case {
    struct ledger *ledger;
    const struct config *config;
    const struct trials_survey *kept; // what is asked; results are not looked at
    char *oven;
    struct ledger_channel *channels; // of the oven, when the survey began
    size_t channel_count;
    struct survey *survey;
    const struct survey_result *result;
    struct chart *fine, *whole, *close_up; // close_up: NULL if it did not settle
    bool setpoint_known;
    int64_t setpoint_low_mc, setpoint_high_mc; // of the controller, in the stretch judged
    bool simulated;
};

int survey_case_open(struct survey_case *of, struct ledger *ledger, const struct config *config,
                     const struct trials_survey *kept, struct fault *fault);
void survey_case_close(struct survey_case *of); // also after survey_case_open failed
/* What comes out, into the record to be kept. */
void survey_case_take(const struct survey_case *of, struct trials_survey *kept);
/* Do stored results and replayed ones agree? */
bool survey_case_agrees(const struct survey_case *of, const struct trials_survey *kept);
/* The outcome as a whole, and one sentence. TRIAL_TEXT_BYTES. */
enum outcome survey_case_answer(const struct survey_case *of, char *out);
char *survey_case_limit(int class_number, enum temperature_unit unit, char *out); // "±6 °C"; QUANTITY_TEXT_BYTES
/* Why a class is not proven, or which sensor decided: "front at −6.3 °C". TRIAL_TEXT_BYTES. */
char *survey_case_why(const struct survey_case *of, int class_number, char *out);
const char *survey_case_name(const struct survey_case *of, int64_t channel_id);
int survey_sheet_make(struct survey_case *of, unsigned char **bytes, size_t *length, struct fault *fault);

#endif
