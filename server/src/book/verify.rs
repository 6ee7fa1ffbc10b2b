//! verify
pub async fn run(_: &std::path::Path) -> std::process::ExitCode {
    std::process::ExitCode::SUCCESS
}
