//! Keys for scripts: they read, within what their owner may see at that moment.

use actix_web::{HttpRequest, get, post};
use chrono::{DateTime, TimeDelta, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::sql::{self, KeyRow};
use crate::auth::{SignedIn, permission, token};
use crate::common::answer::{Answer, Created};
use crate::common::body::{Json, Path, Query};
use crate::common::ids::{KeyId, UnitId};
use crate::common::page;
use crate::common::short_text::ShortText;
use crate::error::{ApiError, Code, FieldError, Problems};

/// A key to be made.
#[derive(Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "wall display", "unit_id": "0198c0de-0000-7000-8000-000000000001", "permissions": ["standings.read"], "lasts_days": 90}))]
pub struct NewKey {
    /// What it is for.
    #[garde(length(chars, min = 1, max = 80))]
    #[schema(min_length = 1, max_length = 80)]
    name: String,
    /// The unit in which it reads.
    #[garde(skip)]
    unit_id: UnitId,
    /// What it may read: names of permissions that you hold.
    #[garde(length(min = 1, max = 100), inner(length(max = 80)))]
    #[schema(min_items = 1, max_items = 100, value_type = Vec<ShortText>)]
    permissions: Vec<String>,
    /// How many days it lasts.
    #[garde(range(min = 1, max = 365))]
    #[serde(default = "ninety")]
    #[schema(minimum = 1, maximum = 365, default = 90)]
    lasts_days: u16,
}

const fn ninety() -> u16 {
    90
}

/// A key, without its secret.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Key {
    /// Which one.
    pub key_id: KeyId,
    /// The unit in which it reads.
    pub unit_id: UnitId,
    /// What it is for.
    #[schema(max_length = 80)]
    pub name: String,
    /// How the secret begins.
    #[schema(max_length = 20, example = "cslk_Xh3vQ0")]
    pub shown_prefix: String,
    /// What it may read, as far as its owner may.
    #[schema(max_items = 100, value_type = Vec<ShortText>)]
    pub permissions: Vec<String>,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// Until when it works.
    pub expires_at: DateTime<Utc>,
    /// When it was last used, to the minute; null if never.
    #[schema(required = true)]
    pub last_used_at: Option<DateTime<Utc>>,
    /// When it was revoked; null while it works.
    #[schema(required = true)]
    pub revoked_at: Option<DateTime<Utc>>,
}

/// A new key with its secret, which is shown this once.
#[derive(Debug, Serialize, ToSchema)]
pub struct MadeKey {
    /// The key.
    pub key: Key,
    /// The secret: send it as `Authorization: Bearer ...`. It is not kept; if you lose it, make a new key.
    #[schema(max_length = 100)]
    pub secret: String,
}

impl From<KeyRow> for Key {
    fn from(row: KeyRow) -> Self {
        let KeyRow {
            key_id,
            unit_id,
            name,
            shown_prefix,
            permissions,
            created_at,
            expires_at,
            last_used_at,
            revoked_at,
        } = row;
        Self {
            key_id: KeyId(key_id),
            unit_id: UnitId(unit_id),
            name,
            shown_prefix,
            permissions,
            created_at,
            expires_at,
            last_used_at,
            revoked_at,
        }
    }
}

/// Make a key for a script.
///
/// It can do what it is given here, and never more than you may at the moment of each request: when your role ends, so does
/// the key, and a role that you are given later neither brings it back nor widens it. Of what changes something it can be given people.change, contacts.change, troops.change, assignments.change,
/// evidence.record, intakes.upload and intakes.apply; what a person answers for stays a person's.
#[utoipa::path(tag = "accounts", request_body = NewKey, extensions(("x-permission" = json!("signed_in")), ("x-stepup" = json!(true))), responses((status = 201, description = "The key, with its secret.", body = MadeKey), Problems))]
#[post("/v1/keys")]
pub async fn make_key(signed_in: SignedIn, body: Json<NewKey>) -> Result<Created<MadeKey>, ApiError> {
    signed_in.person_only()?;
    let new = body.0;
    check_permissions(&new.permissions)?;
    let account = signed_in.actor().entered.account_id;
    let mut tx = signed_in.tx()?;
    let member = sql::memberships(&mut tx, account).await?.iter().any(|place| place.unit_id == new.unit_id.0);
    if !member {
        return Err(ApiError::new(Code::UnknownReference).errors(vec![FieldError::at(
            "/unit_id",
            "unknown",
            "a unit in which you have a place",
        )]));
    }
    tx.replay().await?;
    let (secret, digest, shown_prefix) = token::new_key();
    let now = tx.real_now();
    let row = KeyRow {
        key_id: KeyId::new().0,
        unit_id: new.unit_id.0,
        name: new.name,
        shown_prefix,
        permissions: new.permissions,
        created_at: now,
        expires_at: now + TimeDelta::days(i64::from(new.lasts_days)),
        last_used_at: None,
        revoked_at: None,
    };
    sql::insert_key(&mut tx, account, &row, &digest).await?;
    let key = Key::from(row);
    tx.about("key", key.key_id);
    let location = format!("/v1/keys/{}", key.key_id);
    tx.commit_with_secret(Created::new(&MadeKey { key, secret })?.location(location)).await
}

fn check_permissions(names: &[String]) -> Result<(), ApiError> {
    let fault = |(place, name): (usize, &String)| {
        let pointer = format!("/permissions/{place}");
        if !permission::ALL.contains(&name.as_str()) {
            Some(FieldError::at(pointer, "unknown", "the name of a permission, such as standings.read"))
        } else if permission::writes(name) && !permission::KEY_MAY_CHANGE.contains(&name.as_str()) {
            let expected = format!("a permission to read, or one of: {}", permission::KEY_MAY_CHANGE.join(", "));
            Some(FieldError::at(pointer, "changes_something", expected))
        } else {
            None
        }
    };
    let faults: Vec<FieldError> = names.iter().enumerate().filter_map(fault).collect();
    if faults.is_empty() { Ok(()) } else { Err(ApiError::new(Code::Invalid).errors(faults)) }
}

/// Which page of keys.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct KeysQuery {
    /// How many rows a page has.
    #[garde(range(min = 1, max = 200))]
    #[serde(default = "page::default_limit")]
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: u16,
    /// Where the page begins: `next_cursor` of the page before.
    #[garde(length(max = 1000))]
    #[param(max_length = 1000)]
    cursor: Option<String>,
}

crate::page!(
    /// Your keys.
    KeyPage of Key
);

/// List your keys, the oldest first.
///
/// A key is shown itself alone: what else its owner has keys for is nothing to a script.
#[utoipa::path(tag = "accounts", params(KeysQuery), extensions(("x-permission" = json!("signed_in"))), responses((status = 200, description = "Your keys.", body = KeyPage), Problems))]
#[get("/v1/keys")]
pub async fn list_keys(
    signed_in: SignedIn,
    request: HttpRequest,
    query: Query<KeysQuery>,
) -> Result<Answer<KeyPage>, ApiError> {
    let KeysQuery { limit, cursor } = query.0;
    let after: Option<KeyId> = page::decode(cursor.as_deref(), &"keys")?;
    let mut tx = signed_in.tx()?;
    let entered = &signed_in.actor().entered;
    let whose = (entered.account_id, entered.key_id);
    let mut rows = sql::keys(&mut tx, whose, after.map(|id| id.0), i64::from(limit) + 1).await?;
    let more = page::cut(&mut rows, limit);
    let items: Vec<Key> = rows.into_iter().map(Key::from).collect();
    let last = items.last().filter(|_| more).map(|key| page::encode(&key.key_id, &"keys")).transpose()?;
    let page = KeyPage { items, next_cursor: last };
    Ok(Answer::new(&page)?.next_page(&request, page.next_cursor.as_deref()))
}

/// Which key.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct KeyPath {
    /// The key.
    #[param(value_type = uuid::Uuid)]
    key_id: KeyId,
}

/// Revoke a key: it stops working at once.
#[utoipa::path(tag = "accounts", params(KeyPath), extensions(("x-permission" = json!("signed_in"))), responses((status = 200, description = "The key, revoked.", body = Key), Problems))]
#[post("/v1/keys/{key_id}/revoke")]
pub async fn revoke_key(signed_in: SignedIn, path: Path<KeyPath>) -> Result<Answer<Key>, ApiError> {
    signed_in.person_only()?;
    let account = signed_in.actor().entered.account_id;
    let mut tx = signed_in.tx()?;
    let mut row = sql::lock_key(&mut tx, account, path.key_id).await?;
    tx.replay().await?;
    if row.revoked_at.is_some() {
        return Err(Code::AlreadyEnded.into());
    }
    let now = tx.real_now();
    sql::revoke_key(&mut tx, path.key_id, now).await?;
    row.revoked_at = Some(now);
    tx.about("key", path.key_id);
    tx.commit_with(Answer::new(&Key::from(row))?).await
}
