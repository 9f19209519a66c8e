//! Other devices on the network: a certificate of our own, and the address as a picture that a camera reads.

use std::net::IpAddr;
use std::sync::Arc;

use qrcode::QrCode;
use qrcode::render::unicode::Dense1x2;
use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::ServerConfig;
use tokio_rustls::rustls::crypto::ring::default_provider;
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer, PrivatePkcs8KeyDer};

use crate::app::commit::sha256_hex;
use crate::app::error::AppError;

/// A certificate made for one run.
#[derive(Debug)]
pub(crate) struct Certificate {
    chain: CertificateDer<'static>,
    key: Vec<u8>,
    /// SHA-256 of it, in pairs, as browsers show it.
    pub(crate) fingerprint: String,
}

fn fault(error: &dyn std::fmt::Display) -> AppError {
    AppError::fault("page.certificate", "the certificate cannot be made")
        .with_fact("certificate", error.to_string())
}

/// Makes a certificate for an address.
///
/// # Errors
/// When the address stands for every address at once.
pub(crate) fn certificate(ip: IpAddr) -> Result<Certificate, AppError> {
    if ip.is_unspecified() || ip.is_multicast() {
        return Err(AppError::refused("page.lan", "--lan takes one address of this machine")
            .with_fact("--lan", ip.to_string())
            .with_hint("give the address that the other device reaches this machine by, such as 192.168.1.20"));
    }
    let made =
        rcgen::generate_simple_self_signed(vec![ip.to_string()]).map_err(|error| fault(&error))?;
    let chain = made.cert.der().clone();
    let digits = sha256_hex(&chain).to_uppercase();
    let pairs: Vec<&str> = (0..digits.len() / 2)
        .map(|k| &digits[2 * k..2 * k + 2])
        .collect();
    Ok(Certificate {
        fingerprint: pairs.join(":"),
        key: made.signing_key.serialize_der(),
        chain,
    })
}

impl Certificate {
    /// Takes encrypted connections.
    pub(crate) fn acceptor(&self) -> Result<TlsAcceptor, AppError> {
        let key = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(self.key.clone()));
        let config = ServerConfig::builder_with_provider(Arc::new(default_provider()))
            .with_safe_default_protocol_versions()
            .and_then(|builder| {
                builder
                    .with_no_client_auth()
                    .with_single_cert(vec![self.chain.clone()], key)
            })
            .map_err(|error| fault(&error))?;
        Ok(TlsAcceptor::from(Arc::new(config)))
    }
}

/// The address as blocks for a camera; `None` when it is too long, which no address is.
pub(crate) fn picture(address: &str) -> Option<String> {
    let code = QrCode::new(address.as_bytes()).ok()?;
    Some(
        code.render::<Dense1x2>()
            .dark_color(Dense1x2::Light)
            .light_color(Dense1x2::Dark)
            .build(),
    )
}
