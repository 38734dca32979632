//! Invite a person to sign in.

use actix_web::post;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde::Serialize;
use serde_json::json;
use utoipa::ToSchema;

use super::find_person::PersonPath;
use super::sql::people;
use super::write_to;
use crate::accounts;
use crate::auth::Permit;
use crate::auth::permission::{PeopleInvite, Permission as _};
use crate::common::answer::Created;
use crate::common::body::Path;
use crate::common::ids::{InvitationId, MessageId, PersonId};
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::mail::{self, NewMessage, Recipient, SecretLink};
use crate::seasons;
use crate::server::run::Around;
use crate::units;

/// An invitation, with its link, which is shown this once.
#[derive(Debug, Serialize, ToSchema)]
pub struct Invited {
    /// Which invitation.
    pub invitation_id: InvitationId,
    /// Who is invited.
    pub person_id: PersonId,
    /// Until when it can be accepted.
    pub expires_at: DateTime<Utc>,
    /// The message that was written to the person: on its way, or a draft.
    pub message_id: MessageId,
    /// Give this link to the person and nobody else; it works once. Null when the message is on its way: then only the person
    /// sees it.
    #[schema(required = true, max_length = 400)]
    pub invitation_link: Option<String>,
}

/// Invite a person to sign in, with a link that works once, for 72 hours.
///
/// In a unit that sends mail the link goes to the person's address and is shown to nobody else; otherwise it is shown here, once,
/// and waits in a draft.
///
/// The person needs an e-mail address (`change_contact`), which becomes the name of the account, so two people
/// of a unit who share one address cannot both sign in by it. A new invitation ends the older ones. The account can do what the person's roles and assignments allow, and nothing without them.
#[utoipa::path(tag = "roster", params(PersonPath), extensions(("x-permission" = json!(PeopleInvite::NAME))), responses((status = 201, description = "The invitation, with its link.", body = Invited), Problems))]
#[post("/v1/units/{unit_id}/people/{person_id}/invite")]
pub async fn invite_person(
    permit: Permit<PeopleInvite>,
    around: Around,
    path: Path<PersonPath>,
) -> Result<Created<Invited>, ApiError> {
    let (unit, person) = (permit.unit()?, path.person_id);
    let mut tx = permit.tx()?;
    people::lock_own(&mut tx, &permit, person).await?;
    let named = people::reach(&mut tx, &permit, person).await?;
    tx.replay().await?;
    if accounts::has_account(&mut tx, unit, person).await? {
        return Err(Code::HasAccount.into());
    }
    let contact = people::contact(&mut tx, unit, person).await?;
    let email = contact.email.ok_or(Code::EmailMissing)?;
    if let Some(other) = accounts::address_of_another(&mut tx, unit, person, &email).await? {
        let named = FieldError::matter(
            "shared_address",
            format!("{other} has this address and signs in with it, or is invited to."),
        );
        return Err(ApiError::new(Code::AddressShared).errors(vec![named]));
    }
    let invitation = accounts::invite(&mut tx, unit, person, &email).await?;
    tx.about("person", person);
    let link = around.invitation_link(&invitation.token);
    let to = Recipient { person, address: Some(email), language: contact.language };
    let language = mail::language_of(&mut tx, unit, to.language.as_deref()).await?;
    let zone = seasons::current(&mut tx, unit).await.map_or(Tz::UTC, |season| season.zone);
    let from_name = write_to::name_of(&mut tx, unit, permit.person()?).await?;
    let unit_name = units::name(&mut tx, unit).await?.unwrap_or_default();
    let fields = json!({
        "first_name": named.first_name, "unit_name": unit_name, "from_name": from_name,
        "link_until": mail::instant(invitation.expires_at.with_timezone(&zone), &language),
    });
    let secret = SecretLink { link: link.clone(), useless_at: invitation.expires_at };
    let new = NewMessage {
        kind: mail::Kind::Invitation,
        to,
        troop: None,
        fields: write_to::fields(fields),
        link: Some(secret),
    };
    let written = mail::write(&mut tx, unit, &around, new).await?;
    let invited = Invited {
        invitation_id: invitation.invitation_id,
        person_id: person,
        expires_at: invitation.expires_at,
        message_id: written.message_id,
        invitation_link: Some(link).filter(|_| !written.goes),
    };
    let address = format!("/v1/units/{unit}/people/{person}");
    tx.commit_with_secret(Created::new(&invited)?.location(address)).await
}
