# SPDX-License-Identifier: MIT
# Completion of soakledger for bash: commands, their options, numbers of batches and runs, ovens, plan files.
# Put it where bash-completion looks (pkg-config --variable=completionsdir bash-completion) under the name soakledger,
# or source it. What is completed comes from the command's own help and lists, so that both never differ.

# Commands with the words that stand first after them.
_soakledger_commands() {
    "${words[0]}" --help 2>/dev/null | sed -n '/^$/,/^$/p' | grep -oE '  [a-z-]+ +[^ ]' | awk '{ print $1 }'
}

# A form such as "batch list" has options of its own: of the help only the lines of that form count, if it has any.
_soakledger_options() {
    "${words[0]}" "$1" --help 2>/dev/null | awk -v form="soakledger $1 $2" '
        /^soakledger/ { of = index($0 " ", form " ") == 1 }
        /^$/ { of = 0 }
        of { print; any = 1 }
        { all = all "\n" $0 }
        END { if (!any) print all }' | grep -oE -e '--[a-z-]+' | sort -u
}

_soakledger_numbers() { # batch or run: the first column of a list
    local list=runs
    [ "$1" = batch ] && list="batch list"
    # shellcheck disable=SC2086
    "${words[0]}" "${config[@]}" $list --csv 2>/dev/null | awk -F, 'NR > 1 && $1 ~ /^[0-9]+$/ { print $1 }'
}

_soakledger_first() { # first column of that list; what has blanks or signs in it has to be typed
    "${words[0]}" "${config[@]}" "$@" --csv 2>/dev/null | tr -d '\r' | awk -F, 'NR > 1 && $1 ~ /^[A-Za-z0-9._-]+$/ { print $1 }'
}

_soakledger_places() { # where sensors are fitted: oven.channel for a check, the ovens for a survey
    "${words[0]}" "${config[@]}" sensor list --csv 2>/dev/null | awk -F, -v of="$1" '
        NR > 1 && $4 ~ /^[A-Za-z0-9_-]+\.[A-Za-z0-9_-]+$/ { if (of == "survey") sub(/\..*/, "", $4); print $4 }' | sort -u
}

_soakledger() {
    local cur prev words cword
    local config=() command='' part='' i
    COMPREPLY=()
    if declare -F _init_completion >/dev/null; then
        _init_completion -n = || return
    else
        words=("${COMP_WORDS[@]}")
        cword=$COMP_CWORD cur=${COMP_WORDS[COMP_CWORD]} prev=${COMP_WORDS[COMP_CWORD - 1]}
    fi
    for ((i = 1; i < cword; i++)); do
        case ${words[i]} in
        -c | --config)
            config=(-c "${words[i + 1]}")
            ((i++))
            ;;
        -*) ;;
        *)
            if [ -z "$command" ]; then command=${words[i]}; elif [ -z "$part" ]; then part=${words[i]}; fi
            ;;
        esac
    done
    case $prev in
    -c | --config | --plan | --as | -o | --output)
        mapfile -t COMPREPLY < <(compgen -f -- "$cur")
        return
        ;;
    --verdict)
        mapfile -t COMPREPLY < <(compgen -W 'met not-proven not-met' -- "$cur")
        return
        ;;
    --with)
        mapfile -t COMPREPLY < <(compgen -W "$(_soakledger_numbers batch)" -- "$cur")
        return
        ;;
    esac
    if [ -z "$command" ]; then
        mapfile -t COMPREPLY < <(compgen -W "$(_soakledger_commands) help --help --version --config" -- "$cur")
        return
    fi
    if [[ $cur == -* ]]; then
        mapfile -t COMPREPLY < <(compgen -W "$(_soakledger_options "$command" "$part") --help" -- "$cur")
        return
    fi
    case $command in
    help) mapfile -t COMPREPLY < <(compgen -W "$(_soakledger_commands)" -- "$cur") ;;
    batch | plan | key | backup | export | verify | sensor | check | survey)
        if [ -z "$part" ]; then
            case $command in
            batch) part='open split list show close' ;;
            plan) part='check show' ;;
            key) part='make public certificate' ;;
            backup) part='make check restore' ;;
            sensor) part='list show due correct retire' ;;
            check | survey) part="list print $(_soakledger_places "$command")" ;;
            *) part='run batch' ;;
            esac
            mapfile -t COMPREPLY < <(compgen -W "$part" -- "$cur")
        elif [[ $command == plan || $command == backup ]]; then
            mapfile -t COMPREPLY < <(compgen -f -- "$cur")
        elif [ "$part" = run ]; then
            mapfile -t COMPREPLY < <(compgen -W "$(_soakledger_numbers run)" -- "$cur")
        elif [[ $command == sensor && $part =~ ^(show|correct|retire)$ ]]; then
            mapfile -t COMPREPLY < <(compgen -W "$(_soakledger_first sensor list)" -- "$cur")
        elif [[ $command == check || $command == survey ]]; then
            if [ "$part" = print ]; then
                mapfile -t COMPREPLY < <(compgen -W "$(_soakledger_first "$command" list)" -- "$cur")
            fi
        elif [[ $command == batch || $command == export || $command == verify ]]; then
            mapfile -t COMPREPLY < <(compgen -W "$(_soakledger_numbers batch)" -- "$cur")
        fi
        ;;
    drift) mapfile -t COMPREPLY < <(compgen -W "$(_soakledger_places check)" -- "$cur") ;;
    claim)
        if [ -z "$part" ]; then
            mapfile -t COMPREPLY < <(compgen -W "$(_soakledger_numbers run)" -- "$cur")
        else
            mapfile -t COMPREPLY < <(compgen -W "$(_soakledger_numbers batch) none" -- "$cur")
        fi
        ;;
    amend | attest | certificate | disposition | hardness | review | what-if)
        mapfile -t COMPREPLY < <(compgen -W "$(_soakledger_numbers batch)" -- "$cur")
        ;;
    import) mapfile -t COMPREPLY < <(compgen -f -- "$cur") ;;
    esac
}
complete -o bashdefault -F _soakledger soakledger
