//! Invite a person to sign in.

use actix_web::post;
use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use super::find_person::PersonPath;
use super::sql::people;
use crate::accounts;
use crate::auth::Permit;
use crate::auth::permission::{PeopleInvite, Permission as _};
use crate::common::answer::Created;
use crate::common::body::Path;
use crate::common::ids::{InvitationId, PersonId};
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::server::run::Around;

/// An invitation, with its link, which is shown this once.
#[derive(Debug, Serialize, ToSchema)]
pub struct Invited {
    /// Which invitation.
    pub invitation_id: InvitationId,
    /// Who is invited.
    pub person_id: PersonId,
    /// Until when it can be accepted.
    pub expires_at: DateTime<Utc>,
    /// Give this link to the person and nobody else; it works once.
    #[schema(max_length = 400)]
    pub invitation_link: String,
}

/// Invite a person to sign in, with a link that works once, for 72 hours.
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
    people::reach(&mut tx, &permit, person).await?;
    tx.replay().await?;
    if accounts::has_account(&mut tx, unit, person).await? {
        return Err(Code::HasAccount.into());
    }
    let email = people::contact(&mut tx, unit, person).await?.email.ok_or(Code::EmailMissing)?;
    if let Some(other) = accounts::address_of_another(&mut tx, unit, person, &email).await? {
        let named = FieldError::matter(
            "shared_address",
            format!("{other} has this address and signs in with it, or is invited to."),
        );
        return Err(ApiError::new(Code::AddressShared).errors(vec![named]));
    }
    let invitation = accounts::invite(&mut tx, unit, person, &email).await?;
    tx.about("person", person);
    let invited = Invited {
        invitation_id: invitation.invitation_id,
        person_id: person,
        expires_at: invitation.expires_at,
        invitation_link: around.invitation_link(&invitation.token),
    };
    let address = format!("/v1/units/{unit}/people/{person}");
    tx.commit_with_secret(Created::new(&invited)?.location(address)).await
}
