//! The closed table of problem codes. A code is part of the contract: none is renamed or removed without a note.

use actix_web::http::StatusCode;

macro_rules! codes {
    ($($name:ident $status:ident $code:literal $title:literal $detail:literal;)*) => {
        /// Every kind of problem that the program can answer with.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum Code { $(#[doc = $title] $name,)* }

        impl Code {
            /// All of them, in the order of the table.
            pub const ALL: &'static [Code] = &[$(Code::$name,)*];

            /// The stable word.
            #[must_use]
            pub const fn name(self) -> &'static str { match self { $(Code::$name => $code,)* } }

            /// The HTTP status.
            #[must_use]
            pub const fn status(self) -> StatusCode { match self { $(Code::$name => StatusCode::$status,)* } }

            /// The kind of problem in a few words.
            #[must_use]
            pub const fn title(self) -> &'static str { match self { $(Code::$name => $title,)* } }

            /// What happened, what to do next and who can do it.
            #[must_use]
            pub const fn detail(self) -> &'static str { match self { $(Code::$name => $detail,)* } }
        }
    };
}

codes! {
    // 400: unreadable
    BadRequest BAD_REQUEST "bad_request" "The request could not be read" "The server could not make sense of what the app or script sent. Whoever looks after it compares it with the reference page (/reference/); you may simply try again.";
    BadJson BAD_REQUEST "bad_json" "The body is not JSON" "What the app or script sent could not be read as JSON. The list below names the place; mend it there and send it again.";
    BadParameter BAD_REQUEST "bad_parameter" "A parameter could not be read" "A parameter in the address is unknown or cannot be read. The list below says which and what would be right.";
    BadCursor BAD_REQUEST "bad_cursor" "This page marker does not belong here" "The page marker (cursor) was cut off, or belongs to another list or other filters. Leave it out to start from the first page.";
    IdempotencyKeyMissing BAD_REQUEST "idempotency_key_missing" "A key for safe retries is missing" "Send an Idempotency-Key header (any new unique text of 8 to 100 characters, such as a UUID), and the same one when you repeat this request, so that it cannot be done twice.";
    BadHeader BAD_REQUEST "bad_header" "A header field could not be read" "A header field of this request cannot be read. The list below says which and what would be right.";
    // 401
    NotSignedIn UNAUTHORIZED "not_signed_in" "You are not signed in" "Sign in and send the request again with the new access token. If you were signed in, the sign-in has ended or was withdrawn.";
    BadCredentials UNAUTHORIZED "bad_credentials" "E-mail and password do not match" "Check the e-mail address and the password and try again. If you have forgotten the password, ask the server's administrator for a reset link; your unit manager knows who that is.";
    BadLink UNAUTHORIZED "bad_link" "This link is not valid any more" "The link was used before, has run out, or was replaced by a newer one. Ask whoever sent it for a new one.";
    BadRefreshToken UNAUTHORIZED "bad_refresh_token" "This sign-in has ended" "The sign-in cannot be continued. Sign in again with e-mail and password.";
    SecondFactorNeeded UNAUTHORIZED "second_factor_needed" "A code is needed too" "This account has a second factor. Send the same again with \"code\": the six figures that the authenticator app shows now, or one of the recovery codes.";
    CodeWrong UNAUTHORIZED "code_wrong" "That code is not right" "Send the six figures that the authenticator app shows now (each counts once), or a recovery code that was not used. Look whether the phone's clock is right. If phone and codes are lost, ask the server's administrator.";
    // 403
    Forbidden FORBIDDEN "forbidden" "You may not do this" "Your role does not include this. Ask somebody who has a role that does, such as the unit manager, or the overseer for the second word of two people.";
    OutOfScope FORBIDDEN "out_of_scope" "Not for this troop" "You may see this, but your role does not reach this troop for this act. Ask the unit manager.";
    KeyMayNot FORBIDDEN "key_may_not" "A key may not do this" "A key for scripts cannot decide what a person answers for, make keys, or act where a fresh sign-in is asked for. Sign in as a person to do this.";
    SecondFactorMissing FORBIDDEN "second_factor_missing" "Set up a second factor first" "Administrators, unit managers and overseers need a second factor, and this account has none yet. Set it up with an authenticator app on your phone (begin_second_factor, then confirm_second_factor); until then you can only do that and sign out.";
    StepUpNeeded FORBIDDEN "step_up_needed" "Confirm first that it is you" "This weighs so much that it asks who you are once more every ten minutes. Send your password, or a code of your second factor, to confirm_session (POST /v1/sessions/current/confirm), then send this again.";
    ProofWrong FORBIDDEN "proof_wrong" "That password does not fit" "The password that came with this does not fit your account, so nothing was done; you stay signed in. Check it and send it again. After several wrong ones the next try must wait.";
    // 404 405
    NotFound NOT_FOUND "not_found" "Not found" "There is nothing here, or nothing that you may see. Check the address; if somebody sent it to you, ask whether you have been given a role in that unit.";
    MethodNotAllowed METHOD_NOT_ALLOWED "method_not_allowed" "This cannot be done at this address" "The address exists, but not for this method. The Allow header says which methods it takes.";
    // 408
    RequestTimeout REQUEST_TIMEOUT "request_timeout" "The request came too slowly" "The request did not arrive in time. Nothing was done; send it again.";
    // 409
    Conflict CONFLICT "conflict" "This cannot be done as things stand" "This does not fit with how things stand now; perhaps somebody else was quicker. Look at it again, then decide anew.";
    AlreadyRunning CONFLICT "already_running" "The same request is still under way" "A request with this Idempotency-Key is being worked on. Wait a moment and send the same request again.";
    AlreadyCreated CONFLICT "already_created" "Done before" "This was made by an earlier request with the same key, and its secret is shown only once. Make a new one if the secret was lost.";
    EmailTaken CONFLICT "email_taken" "This e-mail address has an account" "Somebody signs in with this address already. If it is you, sign in with it first, then accept the invitation. If you wanted to move your own account to it, choose another address.";
    AnotherAddress CONFLICT "another_address" "The invitation was sent to another address" "It was sent to another e-mail address than the one that you are signed in with. If both are yours, send it again with \"my_other_address\": true. If it is for somebody else, sign out first and open the link again.";
    SeasonClosed CONFLICT "season_closed" "This season is closed" "A closed season is not changed any more, so that its books stay as they were. Choose the current season.";
    NoCurrentSeason CONFLICT "no_current_season" "There is no season yet" "The unit has no current season, and this belongs to one. Ask the unit manager to make one (create_season).";
    NumberTaken CONFLICT "number_taken" "This troop number is in use" "Another troop of this unit has this number. Check the number; leading zeros do not make a difference.";
    LabelTaken CONFLICT "label_taken" "This label is in use" "Another season of this unit has this label. Choose another.";
    SeasonOverlaps CONFLICT "season_overlaps" "Two seasons would share days" "The days of this season reach into another season of the unit, named below, and a day of both would belong to two seasons. Look at the years first; if it is meant, send this again with \"overlaps\": true.";
    MembershipNumberTaken CONFLICT "membership_number_taken" "This membership number is in use" "Another person of this unit has this membership number. Check it, or look for the person by the number (list_people with membership_number).";
    StillUsed CONFLICT "still_used" "Something refers to this" "Something refers to this, so it is not taken away: what happened stays on record. The list below, where there is one, says what refers to it and what can be done instead.";
    CodeTaken CONFLICT "code_taken" "This code is in use" "The season has a milestone with this code. Change that one, or choose another code.";
    AlreadyAssigned CONFLICT "already_assigned" "Already coordinator of this troop" "This person has a place in this troop's season already. Look at the troop's assignments.";
    LeadTaken CONFLICT "lead_taken" "This troop has a lead coordinator" "A troop has one lead at a time. Make this person a co-coordinator, who can take the lead afterwards (make_lead); or let somebody take over from the present lead (replace_coordinator).";
    AlreadyEnded CONFLICT "already_ended" "This has ended" "It ended before, so nothing is to be done. If it should go on, begin a new one.";
    RequirementsOpen CONFLICT "requirements_open" "Requirements are still open" "This cannot be done while requirements are open. The list below names each and who can close it.";
    GateClosed CONFLICT "gate_closed" "The way is not open yet" "The unit's policy does not allow this yet. The list below names what is in the way, what opens it and who can do it.";
    WrongState CONFLICT "wrong_state" "Not in this state" "This cannot be done at this point. Look at it again: it shows where things stand and what can be done now.";
    ConfirmationNeeded CONFLICT "confirmation_needed" "This changes a great deal at once" "This would change more than the policy's share at once. Look at what it would change, listed below; if it is meant, send it again with the stamp that confirms it.";
    NobodyMay CONFLICT "nobody_may" "The policy lets nobody do this" "The unit's policy says that nobody may let this go. Close what is open, or let the unit manager change the policy first.";
    SecondPersonNeeded CONFLICT "second_person_needed" "A second person must agree" "The policy asks for two people here, and you are the one who asked. Somebody else with the permission to agree (an overseer) must do this.";
    PreviewStale CONFLICT "preview_stale" "Things changed since the preview" "What you previewed has changed meanwhile. Look at the preview again, then send its new stamp or etag.";
    NoStamp CONFLICT "no_stamp" "This stamp is none that was given" "This stamp is not one that the preview gave: a stamp is 64 characters, figures and the letters a to f. Look at the preview, and send the stamp whole, as it stands there.";
    NothingNew CONFLICT "nothing_new" "A filed return says exactly this" "Nothing has changed since the newest return of this season was filed. Send that one on as it is; to file the same once more, say \"again\": true.";
    SentBefore CONFLICT "sent_before" "This return is marked as sent" "It was marked as sent before (list_return_sendings shows when, to whom and what came back). If it was sent once more, say \"again\": true.";
    MassChange CONFLICT "mass_change" "This list changes much of the roster at once" "The list says something else than was known about more of the roster than the policy lets pass unasked. Look at the figures below and at the preview; if it is right, apply it again with confirm_touched as the list below says.";
    UnfamiliarList CONFLICT "unfamiliar_list" "This list may be another unit's" "Hardly anything on this list is known here. Look at its rows: if it is another unit's list, put it away (discard_intake); if it is this unit's all the same, apply it again with confirm_unfamiliar as the list below says.";
    BuiltOn CONFLICT "built_on" "Something stands on this list" "The list cannot be taken back while something stands on it. Each line below says how to undo what it names, or what to do instead; or upload a newer list that says what is right.";
    RowsUnresolved CONFLICT "rows_unresolved" "Some rows wait for your decision" "Some rows of the list wait for your decision. Decide each, or leave it out (list_waiting_reasons shows them by reason), then apply the list.";
    LastUnitManager CONFLICT "last_unit_manager" "The unit needs a unit manager" "This would leave the unit without a unit manager who can sign in. Give the role to somebody else first, then do this.";
    RoleHeld CONFLICT "role_held" "This person holds this role" "The person holds this role at that time already. Look at the person's grants (list_grants); end that one first if its dates are wrong.";
    SecondFactorOn CONFLICT "second_factor_on" "The second factor is on" "This account has a second factor. To set up another phone, take it away first (remove_second_factor), then begin anew.";
    HasAccount CONFLICT "has_account" "This person can sign in already" "The person has an account for this unit. If the password was forgotten, ask the server's administrator for a reset link.";
    EmailMissing CONFLICT "email_missing" "There is no e-mail address" "The person has no e-mail address yet, and an account needs one. Enter it first (change_contact), then invite the person.";
    NameKnown CONFLICT "name_known" "Somebody of this name is there" "The unit has a person of this name already, named below. If it is the same one, use that row. If it is somebody else, send this again with \"another_person\": true.";
    AddressShared CONFLICT "address_shared" "Somebody else of the unit uses this address" "Another person of this unit signs in with this e-mail address, or is invited to it. The address is the name of the account, so two people need two: enter another one for this person (change_contact), then invite.";
    // 412 428
    VersionStale PRECONDITION_FAILED "version_stale" "It has changed since you read it" "Somebody changed this after you read it, and their change is kept. Read it again, see what changed, and make yours anew (a script sends the new ETag).";
    VersionMissing PRECONDITION_REQUIRED "version_missing" "Say which version you have read" "The app or script has to send the ETag that it read in an If-Match header, so that nobody's change is overwritten unseen. Read the thing again; the ETag comes with it.";
    // 413 414 415 431
    TooLarge PAYLOAD_TOO_LARGE "too_large" "The request is too large" "The body is larger than this operation takes (256 KiB, lists 5 MiB). Split it, or send less.";
    UriTooLong URI_TOO_LONG "uri_too_long" "The address is too long" "The address is longer than 8 KiB. Use fewer or shorter parameters.";
    WrongContentType UNSUPPORTED_MEDIA_TYPE "wrong_content_type" "This type of content is not read here" "Send the body with the Content-Type that the reference page names for this operation.";
    HeadersTooLarge REQUEST_HEADER_FIELDS_TOO_LARGE "headers_too_large" "Too many header fields, or too long ones" "The request carries more than 96 header fields, or one that is longer than 8 KiB. Send fewer or shorter ones.";
    // 422
    Invalid UNPROCESSABLE_ENTITY "invalid" "Some of this is not valid" "The request was readable, but some of what it says is not valid. The list below names every place and what would be right.";
    IdempotencyKeyReused UNPROCESSABLE_ENTITY "idempotency_key_reused" "This key belongs to another request" "The same Idempotency-Key was sent before with something else in the body. A new request needs a new key; a repeated one is sent as it was.";
    PasswordWeak UNPROCESSABLE_ENTITY "password_weak" "Choose another password" "A password needs at least 15 characters and must not be a well-known one. Several words in a row are easy to remember.";
    UnknownReference UNPROCESSABLE_ENTITY "unknown_reference" "Something named here does not exist" "Something that is named by its id is not in this unit: it may have been taken away, or the id was copied wrongly. The list below says which; choose it anew from its list.";
    // 429
    TooManyRequests TOO_MANY_REQUESTS "too_many_requests" "Too many requests" "Too many requests came in a short time; the apps and phones of one account count together. Wait as long as Retry-After says, then send it again.";
    SignInDelayed TOO_MANY_REQUESTS "sign_in_delayed" "Wait a moment before you try again" "There were several tries just now, for this account or from this place, that failed or came at the same moment. Wait as long as Retry-After says, then try again; a reset link works at any time.";
    // 5xx
    Internal INTERNAL_SERVER_ERROR "internal" "Something went wrong inside" "This is the server's fault, not yours. Nothing was changed. Try again; if it stays, tell the server's administrator the request id.";
    Unavailable SERVICE_UNAVAILABLE "unavailable" "Not ready just now" "The server cannot do this just now. Wait as long as Retry-After says and send the same again, with the same Idempotency-Key if it had one: then it is done once, whatever became of the first try.";
    Busy SERVICE_UNAVAILABLE "busy" "Somebody else is changing this" "Another change of the same thing takes long. Nothing was changed; send it again in a moment.";
}

impl Code {
    /// The code that stands for a status of the framework's own (a framing fault, an unknown path).
    #[must_use]
    pub fn for_status(status: StatusCode) -> Self {
        match status.as_u16() {
            401 => Self::NotSignedIn,
            403 => Self::Forbidden,
            404 => Self::NotFound,
            405 => Self::MethodNotAllowed,
            408 => Self::RequestTimeout,
            409 => Self::Conflict,
            412 => Self::VersionStale,
            413 => Self::TooLarge,
            414 => Self::UriTooLong,
            415 => Self::WrongContentType,
            422 => Self::Invalid,
            428 => Self::VersionMissing,
            429 => Self::TooManyRequests,
            431 => Self::HeadersTooLarge,
            503 => Self::Unavailable,
            500.. => Self::Internal,
            _ => Self::BadRequest,
        }
    }

    /// The code with this name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|code| code.name() == name)
    }
}

#[cfg(test)]
mod tests {
    use super::Code;

    #[test]
    fn every_code_has_its_own_name_and_says_what_to_do() {
        let mut names: Vec<_> = Code::ALL.iter().map(|code| code.name()).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), Code::ALL.len());
        for code in Code::ALL {
            println!("{} {} {}\n    {}", code.status().as_u16(), code.name(), code.title(), code.detail());
            assert!(code.detail().len() > 40 && code.detail().ends_with('.'), "{}: a sentence is owed", code.name());
            assert!(!code.title().ends_with('.'));
            assert!(code.status().is_client_error() || code.status().is_server_error());
        }
    }
}
