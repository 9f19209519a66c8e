//! Reads a formula's text: `+ - * /`, unary minus, parentheses, numbers, band names, `sqrt`, `abs`, `min`, `max`, and nothing else.
//!
//! The grammar of expressions is Rust's, read by `syn`: precedence and numbers are what people expect, and nobody has to trust a parser of ours.

use syn::{BinOp, Expr, Lit, UnOp};
use thiserror::Error;

use super::catalogue::canonical_band_name;

/// Longest text of a formula. \[characters\]
pub(super) const MAX_LENGTH: usize = 500;
/// Deepest nesting of brackets in a formula.
pub(super) const MAX_DEPTH: usize = 32;

/// Why a text is not a formula.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum FormulaError {
    /// Nothing written.
    #[error("the formula is empty: write for example (nir - red) / (nir + red)")]
    Empty,
    /// Too much written.
    #[error("the formula has {characters} characters, more than {most}")]
    TooLong {
        /// Characters found.
        characters: usize,
        /// Most that are read.
        most: usize,
    },
    /// Brackets in brackets in brackets.
    #[error("the formula's brackets are nested more than {most} deep")]
    TooDeep {
        /// Most that are read.
        most: usize,
    },
    /// Not an expression at all.
    #[error("the formula cannot be read ({why}): {text}")]
    NotAnExpression {
        /// The text.
        text: String,
        /// What the reader says.
        why: String,
    },
    /// Powers.
    #[error("the formula has a power (^ or **): write x * x, or sqrt(x)")]
    Power,
    /// Marks that start a remark elsewhere, and would swallow half of the formula.
    #[error("the formula has {mark}, which is no operation here: one / divides, one * multiplies")]
    Remark {
        /// The mark.
        mark: &'static str,
    },
    /// An operation that is not taken.
    #[error(
        "the formula has {found}, which is not taken: use + - * / ( ), numbers, band names, sqrt, abs, min, max"
    )]
    NotTaken {
        /// What it is.
        found: String,
    },
    /// A function that does not exist.
    #[error("the formula calls {name}, but there are only sqrt, abs, min and max")]
    UnknownFunction {
        /// Its name.
        name: String,
    },
    /// Wrong number of arguments.
    #[error("{name} takes {needed} argument(s) in a formula, not {given}")]
    Arguments {
        /// The function.
        name: String,
        /// How many it takes.
        needed: usize,
        /// How many were given.
        given: usize,
    },
    /// `2nir`.
    #[error(
        "the formula has {text}, which runs a number and a name together: write {number} * {name}"
    )]
    NumberRunsIntoName {
        /// As written.
        text: String,
        /// The number.
        number: String,
        /// The name.
        name: String,
    },
    /// A number that no double holds.
    #[error("the formula's number {text} is too large")]
    NumberTooLarge {
        /// As written.
        text: String,
    },
    /// No band.
    #[error("the formula names no band, so that it has the same value everywhere")]
    NoBand,
    /// Division by a number that is 0 or less.
    #[error(
        "the formula divides by {value}; pixels count only where every denominator is above 0, so none would"
    )]
    DenominatorNeverPositive {
        /// The number.
        value: f64,
    },
}

/// An operation of two arguments.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Two {
    Add,
    Subtract,
    Multiply,
    Divide,
    Min,
    Max,
}

/// An operation of one argument.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum One {
    Negate,
    Root,
    Absolute,
}

/// A formula as a tree.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Node {
    Number(f64),
    Band(String),
    One(One, Box<Node>),
    Two(Two, Box<Node>, Box<Node>),
}

impl Node {
    /// Whether it is `(a − b) / (a + b)` of two different bands.
    pub(super) fn is_normalised_difference(&self) -> bool {
        let Self::Two(Two::Divide, above, below) = self else {
            return false;
        };
        let (Self::Two(Two::Subtract, a, b), Self::Two(Two::Add, c, d)) =
            (above.as_ref(), below.as_ref())
        else {
            return false;
        };
        let bands =
            matches!(a.as_ref(), Self::Band(_)) && matches!(b.as_ref(), Self::Band(_)) && a != b;
        bands && ((a == c && b == d) || (a == d && b == c))
    }
}

/// Reads a formula's text.
pub(super) fn parse(text: &str) -> Result<Node, FormulaError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(FormulaError::Empty);
    }
    refuse_size(text)?;
    // Rust's reader skips remarks; here they are slips for a division or a power and must not change a formula silently.
    for mark in ["//", "/*"] {
        if text.contains(mark) {
            return Err(FormulaError::Remark { mark });
        }
    }
    if text.contains('^') || text.contains("**") {
        return Err(FormulaError::Power);
    }
    let expression =
        syn::parse_str::<Expr>(text).map_err(|error| FormulaError::NotAnExpression {
            text: text.to_owned(),
            why: error.to_string(),
        })?;
    node_of(&expression)
}

/// Refuses what would take the reader too deep.
fn refuse_size(text: &str) -> Result<(), FormulaError> {
    let characters = text.chars().count();
    if characters > MAX_LENGTH {
        return Err(FormulaError::TooLong {
            characters,
            most: MAX_LENGTH,
        });
    }
    let mut depth = 0_usize;
    for c in text.chars() {
        match c {
            '(' | '[' | '{' => depth += 1,
            ')' | ']' | '}' => depth = depth.saturating_sub(1),
            _ => {}
        }
        if depth > MAX_DEPTH {
            return Err(FormulaError::TooDeep { most: MAX_DEPTH });
        }
    }
    Ok(())
}

fn node_of(expression: &Expr) -> Result<Node, FormulaError> {
    match expression {
        Expr::Paren(inner) => node_of(&inner.expr),
        Expr::Group(inner) => node_of(&inner.expr),
        Expr::Lit(literal) => number_of(&literal.lit),
        Expr::Path(path) => match path.path.get_ident() {
            Some(name) if path.qself.is_none() => {
                Ok(Node::Band(canonical_band_name(&name.to_string())))
            }
            _ => Err(not_taken("a name with ::")),
        },
        Expr::Unary(unary) => match unary.op {
            UnOp::Neg(_) => Ok(one(One::Negate, node_of(&unary.expr)?)),
            _ => Err(not_taken("! or * before a value")),
        },
        Expr::Binary(binary) => {
            let operation = match binary.op {
                BinOp::Add(_) => Two::Add,
                BinOp::Sub(_) => Two::Subtract,
                BinOp::Mul(_) => Two::Multiply,
                BinOp::Div(_) => Two::Divide,
                BinOp::Eq(_)
                | BinOp::Ne(_)
                | BinOp::Lt(_)
                | BinOp::Le(_)
                | BinOp::Gt(_)
                | BinOp::Ge(_) => return Err(not_taken("a comparison")),
                BinOp::Rem(_) => return Err(not_taken("%")),
                BinOp::And(_)
                | BinOp::Or(_)
                | BinOp::BitAnd(_)
                | BinOp::BitOr(_)
                | BinOp::Shl(_)
                | BinOp::Shr(_) => {
                    return Err(not_taken("an operation on bits or truth"));
                }
                _ => return Err(not_taken("an assignment")),
            };
            two(operation, node_of(&binary.left)?, node_of(&binary.right)?)
        }
        Expr::Call(call) => call_of(call),
        Expr::MethodCall(_) | Expr::Field(_) => Err(not_taken("a dot after a value")),
        Expr::Index(_) | Expr::Array(_) | Expr::Repeat(_) => Err(not_taken("square brackets")),
        Expr::Tuple(_) => Err(not_taken("a comma outside min or max")),
        Expr::Assign(_) => Err(not_taken("an assignment")),
        Expr::Range(_) => Err(not_taken("..")),
        _ => Err(not_taken("something other than arithmetic")),
    }
}

fn call_of(call: &syn::ExprCall) -> Result<Node, FormulaError> {
    let name = match call.func.as_ref() {
        Expr::Path(path) => path
            .path
            .get_ident()
            .map(|name| name.to_string().to_lowercase()),
        _ => None,
    };
    // `2 (nir)` and `(nir)(red)` are calls to the reader; to their writer they are products.
    let name =
        name.ok_or_else(|| not_taken("a bracket straight after a value (write * between them)"))?;
    let arguments = call
        .args
        .iter()
        .map(node_of)
        .collect::<Result<Vec<_>, _>>()?;
    let given = arguments.len();
    let needed = match name.as_str() {
        "sqrt" | "abs" => 1,
        "min" | "max" => 2,
        _ => return Err(FormulaError::UnknownFunction { name }),
    };
    let mut arguments = arguments.into_iter();
    match (name.as_str(), given, arguments.next(), arguments.next()) {
        ("sqrt", 1, Some(a), None) => Ok(one(One::Root, a)),
        ("abs", 1, Some(a), None) => Ok(one(One::Absolute, a)),
        ("min", 2, Some(a), Some(b)) => two(Two::Min, a, b),
        ("max", 2, Some(a), Some(b)) => two(Two::Max, a, b),
        _ => Err(FormulaError::Arguments {
            name,
            needed,
            given,
        }),
    }
}

fn number_of(literal: &Lit) -> Result<Node, FormulaError> {
    let (text, digits, suffix) = match literal {
        Lit::Int(int) => (
            int.to_string(),
            int.base10_digits().to_owned(),
            int.suffix().to_owned(),
        ),
        Lit::Float(float) => (
            float.to_string(),
            float.base10_digits().to_owned(),
            float.suffix().to_owned(),
        ),
        _ => return Err(not_taken("a text")),
    };
    if !suffix.is_empty() {
        return Err(FormulaError::NumberRunsIntoName {
            text,
            number: digits,
            name: suffix,
        });
    }
    match digits.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(Node::Number(value)),
        _ => Err(FormulaError::NumberTooLarge { text }),
    }
}

fn not_taken(found: &str) -> FormulaError {
    FormulaError::NotTaken {
        found: found.to_owned(),
    }
}

/// Applies an operation, at once where the argument is a number.
fn one(operation: One, a: Node) -> Node {
    match (operation, &a) {
        (One::Negate, Node::Number(value)) => Node::Number(-value),
        (One::Absolute, Node::Number(value)) => Node::Number(value.abs()),
        (One::Root, Node::Number(value)) if *value >= 0.0 => Node::Number(libm::sqrt(*value)),
        _ => Node::One(operation, Box::new(a)),
    }
}

/// Applies an operation, at once where both arguments are numbers.
fn two(operation: Two, a: Node, b: Node) -> Result<Node, FormulaError> {
    if let (Two::Divide, Node::Number(value)) = (operation, &b)
        && *value <= 0.0
    {
        return Err(FormulaError::DenominatorNeverPositive { value: *value });
    }
    let (Node::Number(x), Node::Number(y)) = (&a, &b) else {
        return Ok(Node::Two(operation, Box::new(a), Box::new(b)));
    };
    Ok(Node::Number(match operation {
        Two::Add => x + y,
        Two::Subtract => x - y,
        Two::Multiply => x * y,
        Two::Divide => x / y,
        Two::Min => x.min(*y),
        Two::Max => x.max(*y),
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(text: &str) -> String {
        parse(text).unwrap_err().to_string()
    }

    #[test]
    fn what_is_not_taken_is_named() {
        assert_eq!(parse("  "), Err(FormulaError::Empty));
        assert_eq!(parse("nir^2"), Err(FormulaError::Power));
        assert_eq!(parse("nir ** 2"), Err(FormulaError::Power));
        assert_eq!(
            parse("nir // red"),
            Err(FormulaError::Remark { mark: "//" })
        );
        assert!(refused("nir > red").contains("a comparison"));
        assert!(refused("nir % red").contains('%'));
        assert!(refused("log(nir)").contains("calls log"));
        assert!(refused("sqrt(nir, red)").contains("takes 1 argument(s) in a formula, not 2"));
        assert!(refused("2nir + 1").contains("write 2 * nir"));
        assert!(refused("2 (nir)").contains("write * between them"));
        assert!(refused("nir.max(red)").contains("a dot"));
        assert!(refused("nir / (1 - 3)").contains("divides by -2"));
        assert!(refused("(nir - red").contains("cannot be read"));
        assert!(refused("nir; red").contains("cannot be read"));
        assert!(matches!(
            parse(&"(".repeat(40)),
            Err(FormulaError::TooDeep { .. })
        ));
        assert!(matches!(
            parse(&"-".repeat(501)),
            Err(FormulaError::TooLong {
                characters: 501,
                ..
            })
        ));
        assert!(parse(&format!("{}nir", "-".repeat(490))).is_ok());
    }

    #[test]
    fn normalised_differences_are_known() {
        for text in [
            "(nir - red) / (nir + red)",
            "(NIR-R)/(R+N)",
            "((a - b)) / (b + a)",
        ] {
            assert!(parse(text).unwrap().is_normalised_difference(), "{text}");
        }
        for text in [
            "(nir - red) / (nir + red + 0.16)",
            "(nir - red) / (nir - red)",
            "(nir - nir) / (nir + nir)",
            "nir / red",
            "(nir - red) / nir",
        ] {
            assert!(!parse(text).unwrap().is_normalised_difference(), "{text}");
        }
    }
}
