//! Who asks, and what each role may do.

use axum::http::Method;
use records::{Role, User, UserId};

tokio::task_local! {
    /// Who asks for what is being answered, for the head of every page; set by the guard.
    pub(crate) static ASKS: String;
}

/// Who asks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Who {
    /// Whoever started the bench: at this computer while there are no people, or by the bench's passphrase.
    Owner,
    /// One of the people.
    Person(User),
}

impl Who {
    /// The user, for the log.
    pub(crate) fn user(&self) -> Option<UserId> {
        match self {
            Who::Owner => None,
            Who::Person(user) => Some(user.id),
        }
    }

    /// What it is called on a page; none for the owner.
    pub(crate) fn name(&self) -> Option<String> {
        match self {
            Who::Owner => None,
            Who::Person(user) => Some(format!("{}, {}", user.name, user.role.name())),
        }
    }

    /// Names it for the scripts of a page, which keep what was typed with who typed it.
    pub(crate) fn key(&self) -> String {
        match self {
            Who::Owner => "owner".to_owned(),
            Who::Person(user) => user.id.number().to_string(),
        }
    }

    fn is(&self, roles: &[Role]) -> bool {
        match self {
            Who::Owner => true,
            Who::Person(user) => roles.contains(&user.role),
        }
    }

    /// May it ask for this address of the router in this way?
    pub(crate) fn may(&self, method: &Method, address: &str) -> bool {
        let changes = !matches!(*method, Method::GET | Method::HEAD);
        let rule = RULES.iter().find(|r| (changes || r.looking_too) && r.covers(address));
        rule.is_none_or(|r| self.is(r.may))
    }

    /// May it say what was measured, seen and done at the machine?
    pub(crate) fn works_on_machines(&self) -> bool {
        self.is(&[Role::Technician, Role::Apprentice])
    }
}

/// An address that only some may use. What no rule names is open to all who are logged in.
struct Rule {
    /// The router's address; with `*` at its end, all that begin so.
    address: &'static str,
    /// Looking is kept to them as well, not only changing.
    looking_too: bool,
    may: &'static [Role],
}

const ANSWERS: &[Role] = &[Role::Technician];
const ANSWERS_OR_OFFICE: &[Role] = &[Role::Technician, Role::Office];

const RULES: [Rule; 9] = [
    Rule { address: "/settings/people*", looking_too: true, may: ANSWERS_OR_OFFICE },
    Rule { address: "/settings/data*", looking_too: true, may: ANSWERS_OR_OFFICE },
    Rule { address: "/settings*", looking_too: false, may: ANSWERS_OR_OFFICE },
    Rule { address: "/machines*", looking_too: false, may: ANSWERS },
    Rule { address: "/jobs/{id}/agree*", looking_too: false, may: ANSWERS_OR_OFFICE },
    Rule { address: "/jobs/{id}/hand-over*", looking_too: false, may: ANSWERS },
    Rule { address: "/jobs/{id}/customer", looking_too: false, may: ANSWERS_OR_OFFICE },
    Rule { address: "/sockets*", looking_too: false, may: ANSWERS },
    Rule { address: "/api/sockets*", looking_too: false, may: ANSWERS },
];

impl Rule {
    fn covers(&self, address: &str) -> bool {
        match self.address.strip_suffix('*') {
            Some(begin) => address.starts_with(begin),
            None => address == self.address,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Role, Who};
    use axum::http::Method;
    use records::{User, UserId};

    #[test]
    fn each_role_may_what_its_work_needs() {
        let person = |role| Who::Person(User { id: UserId::of(1), name: "A".to_owned(), role });
        let [technician, office, apprentice] = [Role::Technician, Role::Office, Role::Apprentice].map(person);
        for (method, address, may) in [
            (Method::GET, "/jobs/{id}", [true, true, true]),
            (Method::POST, "/jobs/{id}/say", [true, true, true]),
            (Method::GET, "/settings", [true, true, true]),
            (Method::POST, "/settings", [true, true, false]),
            (Method::GET, "/settings/data", [true, true, false]),
            (Method::POST, "/settings/people", [true, true, false]),
            (Method::GET, "/machines/{file}", [true, true, true]),
            (Method::POST, "/machines/{file}/edit", [true, false, false]),
            (Method::POST, "/jobs/{id}/customer", [true, true, false]),
        ] {
            let are = [&technician, &office, &apprentice].map(|w| w.may(&method, address));
            assert_eq!(are, may, "{method} {address}");
            assert!(Who::Owner.may(&method, address));
        }
        assert!(apprentice.works_on_machines() && !office.works_on_machines());
    }
}
