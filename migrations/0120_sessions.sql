-- What the list of one's own sessions shows, so that somebody can tell a lost phone from the tablet at home: from which address
-- of the network a session was opened (an IPv6 sender is its /64) and by which program. Kept while the session lives: whoever
-- opens the next one empties what is over.
alter table session
    add column opened_from text constraint session_opened_from_length check (length(opened_from) between 1 and 60),
    add column opened_with text constraint session_opened_with_length check (length(opened_with) between 1 and 120),
    drop constraint session_ended_because_known,
    add constraint session_ended_because_known check (ended_because in (
        'signed_out', 'refresh_token_reused', 'password_changed', 'administrator', 'ended_from_another', 'signed_out_everywhere',
        'second_factor_changed'));
grant update (opened_from, opened_with) on session to caselot_runtime;
