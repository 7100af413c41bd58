//! TLS for a bench on the network: with a certificate that is made here, or with one's own. rustls with ring.

use crate::ServeError;
use axum::serve::Listener;
use rustls_pki_types::pem::PemObject;
use rustls_pki_types::{CertificateDer, PrivateKeyDer};
use sha2::{Digest, Sha256};
use std::io::Write as _;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, mpsc};
use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::{ServerConfig, crypto};
use tokio_rustls::server::TlsStream;

/// Longest that a browser may take to agree on keys.
const PATIENCE: Duration = Duration::from_secs(10);
/// Most that do so at once.
const AT_ONCE: usize = 64;
/// Largest certificate or key file, bytes.
const LARGEST: u64 = 1_000_000;

/// A certificate with its key.
#[derive(Clone)]
pub struct Tls {
    config: Arc<ServerConfig>,
    /// SHA-256 of the certificate, in pairs of hex digits: what a browser shows beside its warning.
    pub fingerprint: String,
}

impl Tls {
    /// The certificate that was made for this folder; made now where there is none. Its names are those of this computer and
    /// the address.
    ///
    /// # Errors
    /// Where it cannot be made, kept or read.
    pub fn made(folder: &Path, address: SocketAddr) -> Result<Tls, ServeError> {
        let (cert, key) = (folder.join("tls-cert.pem"), folder.join("tls-key.pem"));
        if !(cert.exists() && key.exists()) {
            let made = rcgen::generate_simple_self_signed(names(address)).map_err(|e| ServeError {
                message: format!("no certificate could be made: {e}"),
                remedy: "name one of your own with --cert and --key".to_owned(),
            })?;
            write_private(&key, &made.signing_key.serialize_pem())?;
            write_private(&cert, &made.cert.pem())?;
        }
        Tls::own(&cert, &key)
    }

    /// One's own certificate (chain) and key, PEM.
    ///
    /// # Errors
    /// Where a file cannot be read, is none, or the two do not belong together.
    pub fn own(cert: &Path, key: &Path) -> Result<Tls, ServeError> {
        let refused = |file: &Path, why: String| ServeError {
            message: format!("{}: {why}", file.display()),
            remedy: "name a certificate and its key, both as PEM".to_owned(),
        };
        let chain: Vec<CertificateDer<'static>> = CertificateDer::pem_slice_iter(&bytes(cert)?)
            .collect::<Result<_, _>>()
            .map_err(|e| refused(cert, format!("this is no certificate ({e})")))?;
        let first = chain.first().ok_or_else(|| refused(cert, "there is no certificate in it".to_owned()))?;
        let fingerprint = Sha256::digest(first).iter().map(|b| format!("{b:02X}")).collect::<Vec<_>>();
        let secret = PrivateKeyDer::from_pem_slice(&bytes(key)?)
            .map_err(|e| refused(key, format!("this is no private key ({e})")))?;
        let config = ServerConfig::builder_with_provider(Arc::new(crypto::ring::default_provider()))
            .with_safe_default_protocol_versions()
            .and_then(|c| c.with_no_client_auth().with_single_cert(chain, secret))
            .map_err(|e| refused(cert, format!("certificate and key cannot be used together ({e})")))?;
        Ok(Tls { config: Arc::new(config), fingerprint: fingerprint.join(":") })
    }
}

fn bytes(file: &Path) -> Result<Vec<u8>, ServeError> {
    use std::io::Read as _;
    let mut bytes = Vec::new();
    std::fs::File::open(file).and_then(|f| f.take(LARGEST).read_to_end(&mut bytes)).map_err(|e| {
        ServeError {
            message: format!("{} cannot be read: {e}", file.display()),
            remedy: "check the name, and that you may read it".to_owned(),
        }
    })?;
    Ok(bytes)
}

/// Readable for its owner only.
fn write_private(file: &Path, text: &str) -> Result<(), ServeError> {
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create(true).truncate(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(file).and_then(|mut f| f.write_all(text.as_bytes())).map_err(|e| ServeError {
        message: format!("{} cannot be written: {e}", file.display()),
        remedy: "name a folder that you may write to with --data".to_owned(),
    })
}

/// The names under which the bench is opened.
fn names(address: SocketAddr) -> Vec<String> {
    let mut names = vec!["localhost".to_owned(), Ipv4Addr::LOCALHOST.to_string()];
    if let Ok(host) = std::fs::read_to_string("/proc/sys/kernel/hostname") {
        let host = host.trim();
        if host.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-') && !host.is_empty() {
            names.extend([host.to_owned(), format!("{host}.local")]);
        }
    }
    let own = if address.ip().is_unspecified() { own_address() } else { Some(address.ip()) };
    names.extend(own.map(|ip| ip.to_string()));
    names.dedup();
    names
}

/// This computer's address in its network: that of the way out. Nothing is sent for it.
fn own_address() -> Option<IpAddr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    // An address for documentation (RFC 5737): only the way to it is looked up.
    socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).ok()?;
    socket.local_addr().ok().map(|a| a.ip()).filter(|ip| !ip.is_loopback())
}

/// Connections on which keys were agreed. Those that are slow about it hold nobody else up.
pub(crate) struct Secured {
    ready: mpsc::Receiver<(TlsStream<TcpStream>, SocketAddr)>,
    at: SocketAddr,
}

impl Secured {
    pub(crate) fn new(listener: TcpListener, at: SocketAddr, tls: &Tls) -> Secured {
        let acceptor = TlsAcceptor::from(tls.config.clone());
        let (sender, ready) = mpsc::channel(AT_ONCE);
        let turns = Arc::new(Semaphore::new(AT_ONCE));
        tokio::spawn(async move {
            while !sender.is_closed() {
                let Ok(turn) = turns.clone().acquire_owned().await else { return };
                // Too many open files, or a caller who hung up: the next may do better.
                let Ok((stream, from)) = listener.accept().await else {
                    tokio::time::sleep(Duration::from_millis(50)).await;
                    continue;
                };
                let (acceptor, sender) = (acceptor.clone(), sender.clone());
                tokio::spawn(async move {
                    if let Ok(Ok(stream)) = tokio::time::timeout(PATIENCE, acceptor.accept(stream)).await {
                        let _ = sender.send((stream, from)).await;
                    }
                    drop(turn);
                });
            }
        });
        Secured { ready, at }
    }
}

impl Listener for Secured {
    type Io = TlsStream<TcpStream>;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Self::Io, Self::Addr) {
        match self.ready.recv().await {
            Some(connection) => connection,
            None => std::future::pending().await,
        }
    }

    fn local_addr(&self) -> std::io::Result<SocketAddr> {
        Ok(self.at)
    }
}

#[cfg(test)]
mod tests {
    use super::Tls;

    #[test]
    fn a_certificate_is_made_once_and_its_key_is_ones_own() {
        let folder = tempfile::tempdir().unwrap();
        let address = "127.0.0.1:0".parse().unwrap();
        let first = Tls::made(folder.path(), address).unwrap().fingerprint;
        assert_eq!(first.len(), 32 * 3 - 1);
        assert_eq!(Tls::made(folder.path(), address).unwrap().fingerprint, first);
        let key = folder.path().join("tls-key.pem");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            assert_eq!(std::fs::metadata(&key).unwrap().permissions().mode() & 0o077, 0);
        }
        for (cert, key) in [(&key, &key), (&folder.path().join("none.pem"), &key)] {
            let refused = Tls::own(cert, key).err().unwrap();
            assert!(!refused.remedy.is_empty() && refused.message.contains("pem"), "{refused:?}");
        }
    }
}
